import { send } from './net.js';

const $ = (id) => document.getElementById(id);
$('j-show').addEventListener('change', (e) => { $('j-password').type = e.target.checked ? 'text' : 'password'; });
$('join').addEventListener('submit', async (event) => {
  event.preventDefault();
  $('fault').textContent = '';
  try {
    await send('POST', '/api/join', { secret: event.target.dataset.secret, name: $('j-name').value, password: $('j-password').value });
    location.assign('/');
  } catch (e) { $('fault').textContent = e.message; }
});
$('join-member')?.addEventListener('submit', async (event) => {
  event.preventDefault();
  try {
    await send('POST', '/api/join/member', { secret: event.target.dataset.secret });
    location.assign('/');
  } catch (e) { $('fault-member').textContent = e.message; }
});

import { send } from './net.js';

const form = document.getElementById('signin');
form.addEventListener('submit', async (event) => {
  event.preventDefault();
  const fault = document.getElementById('fault');
  const password = document.getElementById('si-password');
  fault.textContent = '';
  try {
    await send('POST', '/api/session', { name: document.getElementById('si-name').value, password: password.value });
    location.assign(form.dataset.to);
  } catch (e) {
    fault.textContent = e.message;
    password.value = '';
    password.focus();
  }
});

import { post, key } from './net.js';

const $ = (id) => document.getElementById(id);
const form = $('newexercise');
let sendKey = key();
form.addEventListener('submit', async (event) => {
  event.preventDefault();
  $('fault').textContent = '';
  const chosen = (selector, name) => [...document.querySelectorAll(selector)].filter((b) => b.checked).map((b) => Number(b.dataset[name] || b.value));
  try {
    const made = await post(`/api/groups/${form.dataset.group}/exercises`, {
      name: $('x-name').value, mode: form.elements.mode.value, judging: form.elements.judging.value, form: $('x-form').value,
      photos: chosen('[data-photo]', 'photo'), participants: chosen('[name=person]', 'none'),
    }, sendKey);
    location.href = made.page;
  } catch (e) {
    sendKey = key();
    $('fault').textContent = e.message;
    $('fault').scrollIntoView({ block: 'nearest' });
  }
});
// Pressed before this script is there, it would be lost.
form.querySelector('button[type=submit]').disabled = false;

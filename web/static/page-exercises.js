import { post, key } from './net.js';

// What is pressed before this script is there would be lost, so it can't be.
const form = document.getElementById('newgroup');
if (form) form.querySelector('button').disabled = false;
form?.addEventListener('submit', async (event) => {
  event.preventDefault();
  try {
    const made = await post('/api/groups', { name: document.getElementById('g-name').value }, key());
    location.href = made.page;
  } catch (e) { document.getElementById('fault').textContent = e.message; }
});

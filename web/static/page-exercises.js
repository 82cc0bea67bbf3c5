import { post, key } from './net.js';

const form = document.getElementById('newgroup');
form?.addEventListener('submit', async (event) => {
  event.preventDefault();
  try {
    const made = await post('/api/groups', { name: document.getElementById('g-name').value }, key());
    location.href = made.page;
  } catch (e) { document.getElementById('fault').textContent = e.message; }
});

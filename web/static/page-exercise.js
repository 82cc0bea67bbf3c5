import { post } from './net.js';

const open = document.getElementById('open');
if (open) open.disabled = false; // pressed before this script is there, it would be lost
open?.addEventListener('click', async () => {
  try {
    await post(`/api/exercises/${document.getElementById('exercise').dataset.exercise}/opening`, {});
    location.reload();
  } catch (e) { document.getElementById('fault').textContent = e.message; }
});

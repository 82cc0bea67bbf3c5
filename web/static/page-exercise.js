import { post } from './net.js';

document.getElementById('open')?.addEventListener('click', async () => {
  try {
    await post(`/api/exercises/${document.getElementById('exercise').dataset.exercise}/opening`, {});
    location.reload();
  } catch (e) { document.getElementById('fault').textContent = e.message; }
});

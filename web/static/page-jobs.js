import { post } from './net.js';

const $ = (id) => document.getElementById(id);
$('newjob').addEventListener('submit', async (event) => {
  event.preventDefault();
  try {
    const job = await post('/api/jobs', { name: $('name').value, pattern: $('pattern').value });
    location.assign(job.page);
  } catch (e) { $('fault').textContent = e.message; }
});

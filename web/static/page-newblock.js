import { post } from './net.js';

const form = document.getElementById('newblock');
form.addEventListener('submit', async (event) => {
  event.preventDefault();
  const fault = document.getElementById('fault');
  fault.textContent = '';
  const data = new FormData(form);
  try {
    const block = await post('/api/blocks', {
      name: data.get('name'), rows: Number(data.get('rows')), vines_per_row: Number(data.get('vines')),
      southern: data.get('south') !== null, training_form: data.get('form'),
    });
    location.assign(`/blocks/${block.id}`);
  } catch (e) { fault.textContent = e.message; }
});

import { send } from './net.js';

const group = document.getElementById('group').dataset.group;
for (const box of document.querySelectorAll('[data-account]')) {
  box.disabled = false; // what is pressed before this script is there would be lost
  box.addEventListener('change', async () => {
    document.getElementById('fault').textContent = '';
    try { await send('POST', `/api/groups/${group}/members`, { account: Number(box.dataset.account), in: box.checked }); } catch (e) {
      document.getElementById('fault').textContent = e.message;
      box.checked = !box.checked;
    }
  });
}

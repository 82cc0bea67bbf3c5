import { send } from './net.js';

for (const b of document.querySelectorAll('[data-undelete]')) {
  b.addEventListener('click', async () => {
    try { await send('POST', `/api/deleted/${b.dataset.undelete}/undelete`, {}); location.reload(); } catch (e) {
      document.getElementById('fault').textContent = e.message;
    }
  });
}

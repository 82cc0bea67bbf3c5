import './again.js';
import { send } from './net.js';
import { t } from './text.js';

// Buttons that mark a photo as deleted, on whatever page they stand.
for (const b of document.querySelectorAll('[data-delete-photo]')) {
  b.addEventListener('click', async () => {
    if (!confirm(t('deleted.ask'))) return;
    try { await send('DELETE', `/api/photos/${b.dataset.deletePhoto}`); location.reload(); } catch (e) { alert(e.message); }
  });
}

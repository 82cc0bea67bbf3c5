import { send } from './net.js';
import { t } from './text.js';

const $ = (id) => document.getElementById(id);
const failed = (e) => { $('fault').textContent = e.message; };

function showLink(made) {
  $('link-text').textContent = made.link;
  $('link-days').textContent = t('people.link.days', { days: made.days });
  $('link-new').hidden = false;
  $('link-new').scrollIntoView({ block: 'nearest' });
}

$('invite').addEventListener('submit', async (event) => {
  event.preventDefault();
  try { showLink(await send('POST', '/api/invitations', { role: new FormData(event.target).get('role') })); } catch (e) { failed(e); }
});
for (const s of document.querySelectorAll('[data-member]')) {
  s.addEventListener('change', async () => {
    try { await send('POST', `/api/members/${s.dataset.member}`, { role: s.value }); location.reload(); } catch (e) {
      failed(e);
      s.value = [...s.options].find((o) => o.defaultSelected).value;
    }
  });
}
for (const b of document.querySelectorAll('[data-reset]')) {
  b.addEventListener('click', async () => {
    try { showLink(await send('POST', `/api/members/${b.dataset.reset}/link`, {})); } catch (e) { failed(e); }
  });
}
for (const b of document.querySelectorAll('[data-link]')) {
  b.addEventListener('click', async () => {
    try { await send('DELETE', `/api/invitations/${b.dataset.link}`); location.reload(); } catch (e) { failed(e); }
  });
}
for (const [form, path, input] of [['rename', '/api/estate', 'e-name'], ['another', '/api/estates', 'e-another']]) {
  $(form).addEventListener('submit', async (event) => {
    event.preventDefault();
    try { await send('POST', path, { name: $(input).value }); location.reload(); } catch (e) { failed(e); }
  });
}

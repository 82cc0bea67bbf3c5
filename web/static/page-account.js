import { send, forget } from './net.js';
import { t } from './text.js';

const $ = (id) => document.getElementById(id);

// each does what a button says, then shows the page as it is now.
function each(selector, act) {
  for (const b of document.querySelectorAll(selector)) {
    b.addEventListener('click', async () => {
      try { await act(b); location.reload(); } catch (e) { $('fault').textContent = e.message; }
    });
  }
}

each('[data-estate]', (b) => send('POST', '/api/account/estate', { estate: Number(b.dataset.estate) }));
each('[data-session]', (b) => send('DELETE', `/api/sessions/${b.dataset.session}`));
each('[data-token]', (b) => send('DELETE', `/api/tokens/${b.dataset.token}`));
$('sign-out')?.addEventListener('click', async () => {
  try {
    await send('DELETE', '/api/session');
    await forget(); // but what waits to be sent stays, for whoever made it
    try { localStorage.removeItem('nodespan.who'); } catch { /* storage forbidden */ }
    location.assign('/sign-in');
  } catch (e) { $('fault').textContent = e.message; }
});
$('password')?.addEventListener('submit', async (event) => {
  event.preventDefault();
  $('password-fault').textContent = '';
  $('password-done').textContent = '';
  try {
    await send('POST', '/api/account/password', { now: $('p-now').value, next: $('p-next').value });
    $('p-now').value = '';
    $('p-next').value = '';
    $('password-done').textContent = t('account.password.done');
  } catch (e) { $('password-fault').textContent = e.message; }
});
$('token')?.addEventListener('submit', async (event) => {
  event.preventDefault();
  $('token-fault').textContent = '';
  try {
    const made = await send('POST', '/api/tokens', { name: $('t-name').value, scope: $('t-scope').value, days: Number($('t-days').value) });
    $('token-new').textContent = t('account.token.once', { token: made.token });
    $('token-new').hidden = false;
    $('t-name').value = '';
  } catch (e) { $('token-fault').textContent = e.message; }
});

// What every page has: who is here, what waits to be sent, and what lets pages
// open without signal.
import './again.js';
import { send, forget } from './net.js';
import { t } from './text.js';
import { all, hear } from './waiting.js';
import { kick, person } from './sender.js';

const body = document.body;
const kept = (name, value) => {
  try {
    if (value === undefined) return localStorage.getItem(name) || '';
    localStorage.setItem(name, value);
  } catch { /* storage forbidden */ }
  return '';
};

// A page that phones keep names nobody: it is of whoever was here last.
if ('anybody' in body.dataset) {
  body.dataset.who = kept('nodespan.who');
  const link = document.querySelector('.whoami');
  if (body.dataset.who) {
    link.textContent = t('app.who', { name: body.dataset.who });
    link.href = '/account';
  }
} else if (body.dataset.who) {
  if (kept('nodespan.who') && kept('nodespan.who') !== body.dataset.who) await forget();
  kept('nodespan.who', body.dataset.who);
}

const link = document.getElementById('waiting');
async function count() {
  const list = await all().catch(() => []);
  const stuck = list.some((w) => w.state === 'stuck' || w.who !== person());
  link.hidden = !list.length;
  link.textContent = t(stuck ? 'wait.count.look' : 'wait.count', { n: list.length });
  link.classList.toggle('stuck', stuck);
}
hear((news) => { if (news.changed) count(); });
count();
kick();

const signal = () => { document.getElementById('nosignal').hidden = navigator.onLine; };
window.addEventListener('online', signal);
window.addEventListener('offline', signal);
signal();

navigator.serviceWorker?.register('/worker.js').then(async () => {
  // The pages that it keeps are in the language of the time.
  const { active } = await navigator.serviceWorker.ready;
  if (navigator.onLine && kept('nodespan.language') !== body.dataset.language && !('anybody' in body.dataset)) {
    active.postMessage('pages');
    kept('nodespan.language', body.dataset.language);
  }
}).catch(() => { /* a browser that forbids it: pages need signal then */ });

// Buttons that mark a photo as deleted, on whatever page they stand.
for (const b of document.querySelectorAll('[data-delete-photo]')) {
  b.addEventListener('click', async () => {
    if (!confirm(t('deleted.ask'))) return;
    try { await send('DELETE', `/api/photos/${b.dataset.deletePhoto}`); location.reload(); } catch (e) { alert(e.message); }
  });
}
body.dataset.framed = 'yes';

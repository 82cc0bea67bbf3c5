// Signing in again on the page where the session ended, so that nothing that
// was typed or chosen there is lost.
import { t } from './text.js';

const dialog = document.getElementById('again');
const form = document.getElementById('again-form');
const fault = document.getElementById('again-fault');
let settle = null;

// signInAgain shows the question; true when somebody signed in.
export function signInAgain() {
  fault.textContent = '';
  dialog.showModal();
  document.getElementById(document.getElementById('again-name').value ? 'again-password' : 'again-name').focus();
  return new Promise((resolve) => { settle = resolve; });
}

function close(done) {
  dialog.close();
  settle?.(done);
  settle = null;
}

form.addEventListener('submit', async (event) => {
  event.preventDefault();
  const password = document.getElementById('again-password');
  const answer = await fetch('/api/session', {
    method: 'POST', headers: { 'Content-Type': 'application/json', 'X-Nodespan': '1' },
    body: JSON.stringify({ name: document.getElementById('again-name').value, password: password.value }),
  }).catch(() => null);
  const body = await answer?.json().catch(() => null);
  password.value = '';
  if (!answer?.ok) {
    fault.textContent = body?.message || t('error.network');
    return;
  }
  document.body.dataset.who = body.name;
  try { localStorage.setItem('nodespan.who', body.name); } catch { /* storage forbidden */ }
  document.querySelector('.whoami').textContent = t('app.who', { name: body.name });
  close(true);
});
document.getElementById('again-cancel').addEventListener('click', () => close(false));
dialog.addEventListener('cancel', () => { settle?.(false); settle = null; });

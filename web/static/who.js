// Who rules? Asked once, kept in a cookie by the service.
import { t } from './text.js';

const dialog = document.getElementById('who');
const form = document.getElementById('who-form');
const input = document.getElementById('who-name');
const fault = document.getElementById('who-fault');
let settle = null;

// askWho shows the question; true when a name was given.
export function askWho() {
  fault.textContent = '';
  dialog.showModal();
  input.select();
  return new Promise((resolve) => { settle = resolve; });
}

function close(given) {
  dialog.close();
  settle?.(given);
  settle = null;
}

form.addEventListener('submit', async (event) => {
  event.preventDefault();
  const answer = await fetch('/api/who', {
    method: 'POST', headers: { 'Content-Type': 'application/json', 'X-Nodespan': '1' }, body: JSON.stringify({ name: input.value }),
  }).catch(() => null);
  const body = await answer?.json().catch(() => null);
  if (!answer?.ok) {
    fault.textContent = body?.message || t('error.network');
    return;
  }
  document.body.dataset.who = body.name;
  document.getElementById('who-open').textContent = t('app.who', { name: body.name });
  close(true);
});
document.getElementById('who-cancel').addEventListener('click', () => close(false));
dialog.addEventListener('cancel', () => { settle?.(false); settle = null; });
document.getElementById('who-open').addEventListener('click', () => { askWho(); });

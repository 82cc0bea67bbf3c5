import { t } from './text.js';
import { get } from './net.js';
import { blocks, following, last, pathOf } from './walk.js';

const box = document.getElementById('progress');
const bar = document.getElementById('bar');
const state = document.getElementById('state');

function show(s) {
  if (s.state !== 'waiting' && s.state !== 'measuring') {
    location.reload();
    return false;
  }
  const usual = s.usual_ms ? ' ' + t('progress.usual', { s: Math.max(1, Math.round(s.usual_ms / 1000)) }) : '';
  if (s.state === 'waiting') {
    bar.removeAttribute('value');
    state.textContent = (s.place > 1 ? t('progress.waiting', { place: s.place - 1 }) : t('progress.next')) + usual;
  } else {
    state.textContent = t('progress.measuring', { s: Math.round(s.running_ms / 1000) }) + usual;
    if (s.usual_ms) bar.value = Math.min(97, (100 * s.running_ms) / s.usual_ms);
  }
  return true;
}

// Events where they get through; asking again and again where they don't.
if (box.dataset.state !== 'failed') {
  const path = `/api/photos/${box.dataset.photo}`;
  const events = new EventSource(`${path}/events`);
  events.onmessage = (e) => { if (!show(JSON.parse(e.data))) events.close(); };
  events.onerror = () => {
    events.close();
    const again = async () => {
      try { if (!show(await get(path))) return; } catch (e) { document.getElementById('fault').textContent = e.message; }
      setTimeout(again, 2000);
    };
    setTimeout(again, 1000);
  };
}

// Whoever prunes along the row goes on meanwhile.
const at = last();
const next = at && pathOf(at) === box.dataset.vine && following(at, (await blocks()).find((b) => b.id === at.block));
if (next) {
  const link = document.getElementById('next-vine');
  link.href = `${pathOf(next)}/photo`;
  link.textContent = t('walk.next', { row: next.row, vine: next.vine });
  link.hidden = false;
}

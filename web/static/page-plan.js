// The plan: what was ticked off stays in this browser until it is said that the
// vine is pruned.
import { post } from './net.js';

const $ = (id) => document.getElementById(id);
const plan = $('plan');
const name = `plan ${location.pathname} ${plan.dataset.winter}`;
const boxes = [...plan.querySelectorAll('input[type=checkbox]')];

try {
  const ticked = JSON.parse(localStorage.getItem(name) || '[]');
  boxes.forEach((b, i) => { b.checked = Boolean(ticked[i]); });
} catch { /* nothing kept, or storage forbidden */ }
plan.addEventListener('change', () => {
  try { localStorage.setItem(name, JSON.stringify(boxes.map((b) => b.checked))); } catch { /* full or forbidden */ }
});

async function say(payload) {
  $('fault').textContent = '';
  try {
    const said = await post(plan.dataset.say, { winter: plan.dataset.winter, kind: 'pruned', payload });
    $('pruned-by').textContent = said.who;
    $('pruned').hidden = $('undone').hidden = !payload;
    $('done').hidden = Boolean(payload);
  } catch (e) { $('fault').textContent = e.message; }
}
$('done').addEventListener('click', () => say({}));
$('undone').addEventListener('click', () => say(null));
plan.dataset.ready = 'yes';

// The plan: what was ticked off stays in this browser until it is said that the
// vine is pruned. That it is waits in this phone where there is no signal.
import { post, key } from './net.js';
import { all, hear, keep, Closed, Full } from './waiting.js';
import { kick, person } from './sender.js';
import { t } from './text.js';

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

function show(payload, who) {
  $('pruned-by').textContent = who;
  $('pruned').hidden = $('undone').hidden = !payload;
  $('done').hidden = Boolean(payload);
}

let going = null; // {id, payload} of what waits

async function say(payload) {
  $('fault').textContent = '';
  const work = {
    kind: 'saying', path: plan.dataset.say, body: { winter: plan.dataset.winter, kind: 'pruned', payload }, key: key(), who: person(),
    where: document.querySelector('h1').textContent, page: location.pathname, group: plan.dataset.say,
  };
  try {
    going = { id: await keep(work), payload };
    kick();
  } catch (e) {
    if (!(e instanceof Full || e instanceof Closed)) throw e;
    try { show(payload, (await post(work.path, work.body, work.key)).who); } catch (fault) { $('fault').textContent = fault.message; }
  }
}

hear(async (news) => {
  if (!going) return;
  if (news.sent === going.id) {
    show(going.payload, news.answer.who);
    going = null;
  } else if (news.wait) show(going.payload, `${person()} (${t(news.wait === 'signin' ? 'wait.signin' : 'wait.kept.it')})`);
  else if (news.stuck === going.id) $('fault').textContent = (await all()).find((w) => w.id === going.id)?.fault.message || '';
});
const before = (await all().catch(() => [])).filter((w) => w.kind === 'saying' && w.path === plan.dataset.say && w.who === person()).at(-1);
if (before) {
  going = { id: before.id, payload: before.body.payload };
  show(going.payload, `${person()} (${t('wait.kept.it')})`);
}
$('done').addEventListener('click', () => say({}));
$('undone').addEventListener('click', () => say(null));
plan.dataset.ready = 'yes';

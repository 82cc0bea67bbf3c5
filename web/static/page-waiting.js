// What waits in this phone, piece by piece: what it is, why it still waits, and
// what can be done. A phone also shows this page in place of one that it
// doesn't keep and can't fetch.
import { all, change, drop, hear } from './waiting.js';
import { kick, person } from './sender.js';
import { signInAgain } from './again.js';
import { t, day, number } from './text.js';

const $ = (id) => document.getElementById(id);
const shares = {};
let why = '';
let seconds = 0;

const make = (name, text, more = {}) => Object.assign(document.createElement(name), { textContent: text, ...more });

function button(text, act, main = false) {
  const b = make('button', text, { type: 'button', className: main ? 'main' : '' });
  b.addEventListener('click', act);
  return b;
}

function state(w) {
  if (w.state === 'stuck') return t('wait.stuck', { why: w.fault.message });
  if (w.state === 'held') return t('wait.held');
  if (w.who !== person()) return t('wait.other', { who: w.who });
  if (shares[w.id] !== undefined) return t('addphoto.sending', { percent: Math.floor(100 * shares[w.id]) });
  return t('wait.ready');
}

function line(w) {
  const li = make('li', '', { className: 'piece' });
  li.dataset.piece = w.id;
  li.append(make('strong', t(`wait.kind.${w.kind}`)), make('span', w.where));
  const mb = w.file ? ` · ${t('wait.size', { mb: number(w.file.size / 1e6, 1) })}` : '';
  li.append(make('small', t('wait.made', { who: w.who, when: day(w.at) }) + mb), make('span', state(w), { className: w.state === 'stuck' ? 'fault' : 'small' }));
  const acts = make('div', '', { className: 'buttons' });
  const page = w.kind === 'photo' ? '' : w.page;
  if (page) acts.append(make('a', t('wait.open'), { className: 'button', href: page }));
  if (w.state === 'held') acts.append(button(t('addphoto.use'), () => change(w.id, { state: 'ready' }), true));
  if (w.state === 'stuck' && w.fault.code !== 'conflict') acts.append(button(t('wait.again'), () => change(w.id, { state: 'ready', fault: null, tries: 0 })));
  if (w.file) {
    const save = make('a', t('wait.save'), { className: 'button', download: w.name || 'photo.jpg', href: URL.createObjectURL(w.file) });
    acts.append(save);
  }
  // Another's work isn't thrown away by whoever holds the phone.
  if (w.who === person() || !w.who) acts.append(button(t('wait.drop'), async () => { if (confirm(t('wait.drop.ask'))) await drop(w.id); }));
  li.append(acts);
  return li;
}

async function show() {
  const list = await all();
  $('list').replaceChildren(...list.map(line));
  $('nothing').hidden = list.length > 0;
  $('now').hidden = !list.some((w) => w.state === 'ready' && w.who === person());
  const other = list.some((w) => w.who !== person());
  $('sign-in').hidden = !list.length || !(other || why === 'signin' || !person());
  $('why').textContent = !list.length || !why ? '' : why === 'signin' ? t('wait.signin') : t(why === 'offline' ? 'wait.offline' : 'wait.busy', { s: seconds });
  document.body.dataset.shown = list.length;
}

hear((news) => {
  if (news.wait) {
    why = news.wait;
    seconds = news.seconds;
    // What was on its way begins anew.
    for (const id of Object.keys(shares)) delete shares[id];
  }
  if (news.sending) {
    shares[news.sending] = news.share;
    why = '';
    const out = document.querySelector(`[data-piece="${news.sending}"] > span.small`);
    if (out) out.textContent = t('addphoto.sending', { percent: Math.floor(100 * news.share) });
    return;
  }
  if (news.sent) why = '';
  show();
});
$('now').addEventListener('click', () => kick());
$('sign-in').addEventListener('click', async () => {
  if (!await signInAgain()) return;
  why = '';
  await show();
  kick();
});
// In place of a page that isn't here.
$('instead').hidden = location.pathname === '/waiting';
$('retry').addEventListener('click', () => location.reload());
show();

// A photo of a vine. It is kept in this browser the moment it is taken
// (waiting.js), looked at on the spot (look.js), and goes up by itself.
import { upload, key } from './net.js';
import { t, day } from './text.js';
import { all, change, drop, hear, keep, Full } from './waiting.js';
import { kick, person } from './sender.js';
import { signInAgain } from './again.js';
import { blocks, been, following, last, pathOf, where } from './walk.js';
import { look } from './look.js';

const $ = (id) => document.getElementById(id);
const form = $('addphoto');
let at = where();
// The photo to which this one is a second, taken from a step to a side; 0 for a
// photo that stands by itself.
const asked = new URLSearchParams(location.search);
let second = Number(asked.get('second')) || 0;
let taken = null; // {id (0 when the phone couldn't keep it), file, name, key}
let sent = 0; // the piece of work that this page waits for

function show(part) {
  for (const id of ['pickers', 'chosen', 'sending']) $(id).hidden = id !== part;
}

const words = async (a) => {
  const b = (await blocks()).find((x) => x.id === a.block);
  return t('where', { block: b?.name || a.block, row: a.row, vine: a.vine });
};

const address = () => (second ? `/api/photos/${second}/second` : `/api/blocks/${at.block}/rows/${at.row}/vines/${at.vine}/photos`);

// showKind says what this photo needs: a second one other things than a first.
function showKind() {
  const left = asked.get('step') !== 'right';
  $('as-second').hidden = $('second-needs').hidden = !second;
  $('needs').hidden = Boolean(second);
  $('step-left').hidden = !left;
  $('step-right').hidden = left;
  if (second) $('which-winter').hidden = true; // it is the first one's
}

// take shows a photo and has it looked at.
function take(photo) {
  taken = photo;
  URL.revokeObjectURL($('preview').src);
  $('preview').src = URL.createObjectURL(photo.file);
  $('save-copy').href = $('preview').src;
  $('save-copy').download = photo.name;
  show('chosen');
  $('send').focus();
  look(photo.file, $('looked'), () => taken === photo);
}

async function choose(input) {
  if (!input.files.length) return;
  const file = input.files[0];
  input.value = '';
  if (taken?.id) await drop(taken.id).catch(() => {});
  const photo = { id: 0, file, name: file.name || 'photo.jpg', key: key() };
  $('fault').textContent = '';
  $('save-copy').hidden = true;
  try {
    photo.id = await keep({ kind: 'photo', state: 'held', path: form.dataset.upload, file, name: photo.name, winter: second ? '' : $('winter').value, key: photo.key, who: person(), where: second ? t('second.where', { where: $('where').textContent }) : $('where').textContent, page: `${pathOf(at)}/photo` });
  } catch (e) {
    // It is still in this page's memory: that has to be said, with the ways out.
    $('fault').textContent = t(e instanceof Full ? 'wait.full' : 'wait.closed');
    $('save-copy').hidden = false;
  }
  take(photo);
}

async function use() {
  if (!taken) return;
  const photo = taken;
  if (photo.id) {
    sent = photo.id;
    taken = null;
    await change(photo.id, { state: 'ready', winter: second ? '' : $('winter').value });
  }
  $('fault').textContent = '';
  $('bar').value = 0;
  $('sending-text').textContent = t('wait.kept');
  show('sending');
  been(at);
  if (photo.id) kick();
  else straight(photo);
  const next = following(last() || at, (await blocks()).find((x) => x.id === at.block));
  $('next-vine').hidden = !next || !photo.id;
  if (!next) return;
  $('next-vine').textContent = t('walk.next', { row: next.row, vine: next.vine });
  $('next-vine').onclick = () => { history.pushState(null, '', `${pathOf(next)}/photo`); second = 0; goOn(next); };
}

// straight sends a photo that the phone couldn't keep, while this page is open.
async function straight(photo) {
  const body = new FormData();
  if (!second && $('winter').value) body.append('winter', $('winter').value);
  body.append('photo', photo.file, photo.name);
  try {
    const state = await upload(form.dataset.upload, body, photo.key, share, (seconds, offline) => waits(offline ? 'offline' : 'busy', seconds));
    location.assign(state.page);
  } catch (e) {
    $('fault').textContent = e.message;
    show('chosen');
  }
}

function share(s) {
  $('bar').value = s * 100;
  $('sending-text').textContent = s < 1 ? t('addphoto.sending', { percent: Math.floor(s * 100) }) : t('addphoto.sent');
}

function waits(why, seconds) {
  $('bar').value = 0;
  $('sending-text').textContent = t(why === 'signin' ? 'wait.signin' : why === 'offline' ? 'addphoto.offline' : 'addphoto.busy', { s: seconds });
}

hear(async (news) => {
  if (!sent) return;
  if (news.sending === sent) share(news.share);
  else if (news.sent === sent) location.assign(news.answer.page);
  else if (news.wait === 'signin') {
    waits('signin', 0);
    if (navigator.onLine && !$('again').open && await signInAgain()) kick();
  } else if (news.wait) waits(news.wait, Math.round(news.seconds));
  else if (news.stuck === sent) {
    const work = (await all()).find((w) => w.id === sent);
    sent = 0;
    if (!work) return;
    $('fault').textContent = work.fault.message;
    take({ id: work.id, file: work.file, name: work.name, key: work.key });
  }
});

// goOn makes this the page of another vine; what is on its way goes on.
async function goOn(to) {
  at = to;
  sent = 0;
  taken = null;
  $('where').textContent = await words(at);
  document.querySelector('.back').href = second ? `/photos/${second}` : pathOf(at);
  document.querySelector('.back').lastChild.textContent = ` ${$('where').textContent}`;
  form.dataset.upload = address();
  showKind();
  $('fault').textContent = '';
  show('pickers');
  $('looked').replaceChildren();
  delete $('looked').dataset.state;
  $('held').hidden = true;
  window.scrollTo(0, 0);
  $('take').focus();
}

blocks(); // asked for while there is signal, and kept for when there is none
window.addEventListener('popstate', () => location.reload());
$('take').addEventListener('change', (e) => choose(e.target));
$('choose').addEventListener('change', (e) => choose(e.target));
form.addEventListener('submit', (event) => { event.preventDefault(); use(); });

// The page that phones keep for every vine is made this vine's.
if (!form.dataset.upload && at) await goOn(at);
// A photo that was taken and not said to be good before the page was closed.
const held = (await all().catch(() => [])).filter((w) => w.kind === 'photo' && w.state === 'held' && w.path === form.dataset.upload).at(-1);
if (held) {
  $('fault').textContent = '';
  take(held);
  $('held').hidden = false;
  $('held').textContent = t('wait.held.when', { when: day(held.at) });
}
// What was chosen before this script ran isn't forgotten.
for (const id of ['take', 'choose']) await choose($(id));
document.body.dataset.ready = 'yes';

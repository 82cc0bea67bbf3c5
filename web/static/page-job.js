// One job of many photos: sending them, how it goes on, what became of each.
import { get, post, upload, key, send as ask } from './net.js';
import { t, number } from './text.js';

const $ = (id) => document.getElementById(id);
const id = $('job').dataset.job;
const address = `/api/jobs/${id}`;
const page = `/jobs/${id}`;
let view = null;

const element = (name, text, attributes = {}) => {
  const e = Object.assign(document.createElement(name), { textContent: text ?? '' });
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  return e;
};

function lasting(seconds) {
  if (seconds < 90) return t('job.seconds', { n: Math.max(1, Math.round(seconds)) });
  if (seconds < 5400) return t('job.minutes', { n: Math.round(seconds / 60) });
  return t('job.hours', { n: number(seconds / 3600, 1) });
}

function show(v) {
  const before = view;
  view = v;
  const c = v.counts;
  const done = c.measured + c.refused + c.failed;
  $('doing').textContent = t(`job.doing.${v.doing}`);
  $('bar').max = Math.max(1, c.photos);
  $('bar').value = done;
  let text = t('job.counts', { done, photos: c.photos, measured: c.measured, refused: c.refused, failed: c.failed });
  if (v.photos_per_second) text += ' ' + t('job.rate', { rate: number(v.photos_per_second, 2), left: lasting(v.seconds_left) });
  $('counts').textContent = text;
  $('jobfault').textContent = v.fault_told || v.fault || '';
  $('older').hidden = !v.older;
  $('pause').hidden = v.paused || v.doing === 'idle';
  $('resume').hidden = !(v.paused || v.fault || v.older);
  $('retry').hidden = c.failed === 0 || v.doing === 'measuring';
  $('results').hidden = !v.written;
  if (v.written) {
    const w = v.written;
    $('written').textContent = t('job.written', { canes: w.canes, unplaced: w.unplaced })
      + (w.canes_counted < w.canes ? ' ' + t('job.counted', { n: w.canes_counted }) : '')
      + (w.timings?.total_over_decode ? ' ' + t('job.ratio', { ms: Math.round(w.timings.total_ms_mean), times: number(w.timings.total_over_decode, 1) }) : '');
    const there = new Set((w.files || []).map((f) => f.name).concat('run.json'));
    for (const li of document.querySelectorAll('[data-file]')) li.hidden = !there.has(li.dataset.file);
  }
  $('lists').textContent = v.lists.length ? t('job.lists', { lists: v.lists.join(', ') }) : '';
  const now = before && `${before.doing}${before.counts.failed}${before.counts.refused}`;
  if (now !== `${v.doing}${c.failed}${c.refused}`) { listAnew(); sample(); }
}

// Events where they get through; asking again and again where they don't.
function watch() {
  const events = new EventSource(`${address}/events`);
  events.onmessage = (e) => show(JSON.parse(e.data));
  events.onerror = () => {
    events.close();
    setTimeout(async () => {
      try { show(await get(address)); } catch (e) { $('jobfault').textContent = e.message; }
      watch();
    }, 3000);
  };
}

for (const what of ['pause', 'resume', 'retry']) {
  $(what).addEventListener('click', async () => {
    try { show(await post(address, { do: what })); } catch (e) { $('jobfault').textContent = e.message; }
  });
}

// Sending: some photos at a time; what is there already isn't sent again.
let halted = false;
$('halt').addEventListener('click', () => { halted = true; });

async function send(files) {
  $('fault').textContent = '';
  $('left').replaceChildren();
  $('sending').hidden = false;
  halted = false;
  const photos = files.filter((f) => /\.(jpe?g|png|webp|heic|heif|avif|tiff?|bmp|gif|dng)$/i.test(f.name) && !f.name.startsWith('.'));
  const there = await get(`${address}/uploaded`);
  // The chosen folder's own name isn't part of the photos' paths.
  const pathOf = (f) => (f.webkitRelativePath ? f.webkitRelativePath.split('/').slice(1).join('/') : f.name);
  const todo = photos.filter((f) => there[pathOf(f)] !== f.size);
  let sent = photos.length - todo.length;
  const tell = (extra = '') => {
    $('sent').max = Math.max(1, photos.length);
    $('sent').value = sent;
    $('sent-text').textContent = t('job.sent', { sent, all: photos.length }) + extra;
  };
  tell();
  const one = async () => {
    for (let f = todo.shift(); f && !halted; f = todo.shift()) {
      const form = new FormData();
      form.append('path', pathOf(f));
      form.append('photo', f, f.name);
      try {
        await upload(`${address}/photos`, form, key(), () => {}, (s) => tell(' ' + t('job.waits', { s })));
        sent += 1;
      } catch (e) {
        if (!e.status) { $('fault').textContent = e.message; halted = true; return; }
        $('left').append(element('li', t('value.of', { what: pathOf(f), value: e.message })));
      }
      tell();
    }
  };
  await Promise.all([one(), one(), one()]);
  tell(halted ? ' ' + t('job.halted') : '');
  $('halt').hidden = true;
}

for (const name of ['folder', 'files']) {
  $(name).addEventListener('change', async (e) => {
    const files = [...e.target.files];
    e.target.value = '';
    $('halt').hidden = false;
    try { await send(files); } catch (fault) { $('fault').textContent = fault.message; }
  });
}

$('zip').addEventListener('change', async (e) => {
  const file = e.target.files[0];
  e.target.value = '';
  if (!file) return;
  $('sending').hidden = false;
  $('halt').hidden = true;
  $('fault').textContent = '';
  const form = new FormData();
  form.append('file', file, file.name);
  try {
    const a = await upload(`${address}/zip`, form, key(), (share) => {
      $('sent').max = 1;
      $('sent').value = share;
      $('sent-text').textContent = share < 1 ? t('addphoto.sending', { percent: Math.floor(share * 100) }) : t('job.unpacking');
    });
    $('sent-text').textContent = t('job.unpacked', { photos: a.photos, same: a.same, others: a.others });
    $('left').replaceChildren(...(a.left || []).map((l) => element('li', l)));
  } catch (fault) { $('fault').textContent = fault.message; }
});

// What became of each photo.
let after = '';
let listing = 0;

function listAnew() {
  after = '';
  $('outcomes').replaceChildren();
  list(++listing);
}

async function list(turn) {
  $('more').hidden = true;
  const which = $('which').value;
  try {
    for (let shown = 0; shown < 50;) {
      const lines = await get(`${address}/photos?limit=500&after=${encodeURIComponent(after)}`);
      if (turn !== listing) return;
      let cut = false;
      for (const o of lines) {
        after = o.path;
        const fits = which === 'all' || (which === 'unplaced' ? !o.place.by : o.outcome === 'failed' || o.outcome === 'refused');
        if (!fits) continue;
        $('outcomes').append(row(o));
        if (++shown === 50) { cut = true; break; }
      }
      if (cut) { $('more').hidden = false; break; }
      if (lines.length < 500) break;
    }
  } catch (e) { $('fault').textContent = e.message; }
  $('nothing').hidden = $('outcomes').children.length > 0;
}

function row(o) {
  const tr = element('tr');
  const name = element('td', '', { 'data-name': t('job.photo') });
  const link = o.outcome === 'measured' || o.outcome === 'refused' || o.outcome === 'failed';
  name.append(link ? element('a', o.path, { href: `${page}/photo?path=${encodeURIComponent(o.path)}` }) : o.path);
  const what = element('td', (o.reason ? t('value.of', { what: t(`job.outcome.${o.outcome}`), value: o.reason_told || o.reason }) : t(`job.outcome.${o.outcome}`)) + (o.with && o.outcome === 'measured' ? ', ' + t(o.depth ? 'job.with' : 'job.with.none', { photo: o.with }) : ''), { 'data-name': t('job.outcome') });
  const vine = element('td', '', { 'data-name': t('job.vine') });
  vine.append(placed(o));
  tr.append(name, what, vine);
  return tr;
}

function placed(o) {
  const box = element('span');
  const p = o.place;
  if (p.by) {
    box.append(t('where', { block: p.block, row: p.row, vine: p.vine }), ' ', element('small', t(`job.by.${p.by}`)));
    return box;
  }
  const form = element('form', '', { class: 'place' });
  const field = (what, width, mode) => element('input', '', { 'aria-label': t(`home.${what}`), placeholder: t(`home.${what}`), required: '', name: what, size: width, inputmode: mode });
  const stance = t('jobcanes.column.stance');
  form.append(field('block', 8, 'text'), field('row', 3, 'numeric'), field('vine', 3, 'numeric'), element('input', '', { 'aria-label': stance, placeholder: stance, name: 'stance', size: 6 }), element('button', t('job.place'), { type: 'submit' }));
  form.addEventListener('submit', async (e) => {
    e.preventDefault();
    const d = new FormData(form);
    try {
      const place = { block: d.get('block'), row: Number(d.get('row')) || 0, vine: Number(d.get('vine')) || 0, stance: d.get('stance').trim() };
      await post(`${address}/places`, { path: o.path, ...place });
      box.replaceChildren(placed({ ...o, place: { ...place, by: 'hand' } }));
    } catch (fault) { $('fault').textContent = fault.message; }
  });
  box.append(form);
  return box;
}

$('which').addEventListener('change', listAnew);
$('more').addEventListener('click', () => list(listing));

$('settings').addEventListener('submit', async (event) => {
  event.preventDefault();
  $('setfault').textContent = '';
  const lists = {};
  for (const name of ['vines', 'walk', 'plan']) {
    const f = $(name).files[0];
    if (f) lists[`${name}.csv`] = await f.text();
  }
  try {
    show(await post(address, { pattern: $('pattern').value, rule_set: $('rules').value, check: Number($('check').value.replace(',', '.')) || 0, alone: $('alone').checked, lists }));
    for (const name of ['vines', 'walk', 'plan']) $(name).value = '';
    listAnew();
  } catch (e) { $('setfault').textContent = e.message; }
});

// The sample for checking by hand.
async function sample() {
  if (!view.check || !view.written) { $('sample').hidden = true; return; }
  const s = await get(`${address}/sample`).catch(() => null);
  if (!s) return;
  $('sample').hidden = s.canes.length === 0;
  const r = s.rate;
  $('rate').textContent = t('job.rate.sample', { checked: r.checked, sample: r.sample, canes: r.canes })
    + (r.rate ? ' ' + t('job.rate.wrong', { wrong: r.wrong, rate: number(100 * r.rate.value, 1), low: number(100 * r.rate.low, 1), high: number(100 * r.rate.high, 1) }) : '');
  const next = s.canes.find((c) => !c.said) || s.canes[0];
  if (next) $('next').href = `${page}/photo?path=${encodeURIComponent(next.photo)}&cane=${next.cane}&sample=1`;
}

show(await get(address));
watch();

$('remove')?.addEventListener('click', async () => {
  if (!confirm(t('job.remove.sure', { n: view.counts.photos }))) return;
  try {
    await ask('DELETE', address);
    location.assign('/jobs');
  } catch (e) { $('setfault').textContent = e.message; }
});

// The choice for one vine: suggested from the confirmed canes, confirmed or
// changed by a person. It is computed by the service at each change.
import './last.js';
import { get, post, key } from './net.js';
import { change as changeWork, drop, all as allWork, hear, keep, Closed, Full } from './waiting.js';
import { kick, person } from './sender.js';
import { signInAgain } from './again.js';
import { t, number, length, said, place } from './text.js';
import { Stage, svg, path, tag, tagPlace } from './stage.js';
import { sample } from './canes.js';

const $ = (id) => document.getElementById(id);
const address = `/api/measurements/${$('choice').dataset.measurement}/choice`;
let view = await get(address).catch((e) => {
  // This phone keeps the page, but not what it shows.
  $('fault').textContent = e.message;
  throw e;
});
let wishes = view.wishes || {};
let buds = view.buds;
let sendKey = key();
const stage = new Stage($('stage'), { width: view.width_px, height: view.height_px, medium: view.medium, full: view.full });

// tell gives a sentence of the answer in the reader's language.
const tell = (sentence) => said(view, sentence);

// fates lists what becomes of each cane: {id, fate, words, why, cut}.
function fates() {
  const list = [];
  view.choice.keep.forEach((k, i) => {
    if (k.cane) list.push({ id: k.cane, fate: 'keep', index: i, mark: t('choice.mark.keep', { place: place(k.place) }), why: tell(k.why), cut: k.cut, second: k.second_best, kept: k, words: t('choice.keep.line', { cane: k.cane, place: place(k.place), buds: k.buds, node: k.cut.after_node, cut: length(k.cut.along_mm) }) });
  });
  for (const k of view.choice.spurs) list.push({ id: k.cane, fate: 'spur', mark: t('choice.mark.spur'), why: tell(k.why), cut: k.cut, words: t('choice.spur.line', { cane: k.cane, buds: k.buds, node: k.cut.after_node, cut: length(k.cut.along_mm) }) });
  for (const k of view.choice.ask) list.push({ id: k.cane, fate: 'ask', ifSound: tell(k.if_sound), mark: t('choice.mark.ask'), words: t('choice.ask.line', { cane: k.cane, why: tell(k.why) }) });
  for (const k of view.choice.remove) list.push({ id: k.cane, fate: 'remove', mark: t('choice.mark.remove'), words: t('choice.remove.line', { cane: k.cane, why: tell(k.why) }) });
  return list;
}

const caneOf = (id) => view.canes.find((c) => c.cane.id === id)?.cane;

function draw() {
  stage.layer.replaceChildren();
  const taken = [];
  const tags = [];
  for (const f of fates()) {
    const cane = caneOf(f.id);
    if (!cane) continue;
    const d = path(cane.centre_line_px);
    stage.layer.append(svg('path', { class: 'case', d }), svg('path', { class: `cane ${f.fate}`, d }));
    if (f.cut?.px) cutMark(cane, f.cut.px);
    const words = `${f.id} ${f.mark}`;
    const at = tagPlace(stage, cane.centre_line_px, words, taken);
    if (at) tags.push(tag(stage, at, words));
  }
  if (view.head_px) stage.layer.append(svg('circle', { class: 'headmark', cx: view.head_px[0], cy: view.head_px[1], r: stage.px(9) }));
  stage.layer.append(...tags);
}

// The head is pointed out by one tap: distances from it decide much, and
// without it left and right are only as the canes stand to each other.
let pointing = false;
function point(on) {
  pointing = on;
  $('head').textContent = t(on ? 'choice.head.cancel' : 'choice.head.point');
  $('head-text').textContent = t(on ? 'choice.head.tap' : view.head_said ? 'choice.head.said' : view.head_px ? 'choice.head.seen' : 'choice.head.none');
}
$('head').addEventListener('click', () => { point(!pointing); if (pointing) stage.root.focus(); });
stage.onTap = async (at) => {
  if (!pointing) return;
  point(false);
  $('fault').textContent = '';
  try {
    await post(view.say, { winter: view.winter, kind: 'head', cane: 0, payload: { photo: view.photo, px: [at.x, at.y] } });
    await ask();
  } catch (e) { $('fault').textContent = e.message; }
};

// cutMark draws a bar across the cane where it is to be cut.
function cutMark(cane, [x, y]) {
  const line = cane.centre_line_px;
  let i = 1;
  for (let k = 1; k < line.length; k++) if (Math.hypot(line[k][0] - x, line[k][1] - y) < Math.hypot(line[i][0] - x, line[i][1] - y)) i = k;
  const [dx, dy] = [line[i][0] - line[i - 1][0], line[i][1] - line[i - 1][1]];
  const l = Math.hypot(dx, dy) || 1;
  const r = stage.px(12);
  const d = `M${x - (dy / l) * r} ${y + (dx / l) * r}L${x + (dy / l) * r} ${y - (dx / l) * r}`;
  stage.layer.append(svg('path', { class: 'cut', d }), svg('path', { class: 'cut over', d }));
}

function list(title, items, className) {
  const box = document.createElement('section');
  box.className = 'group';
  box.append(Object.assign(document.createElement('h3'), { textContent: title }));
  const ul = document.createElement('ul');
  if (className) ul.className = className;
  for (const i of items) ul.append(Object.assign(document.createElement('li'), { textContent: i }));
  box.append(ul);
  return box;
}

// addOption adds a choice to a select.
const addOption = (select, value, text) => select.append(Object.assign(document.createElement('option'), { value, textContent: text }));
const small = (text) => Object.assign(document.createElement('p'), { className: 'small', textContent: text });

// button makes a button that does something to the wishes.
function button(text, act) {
  const b = Object.assign(document.createElement('button'), { type: 'button', textContent: text });
  b.addEventListener('click', act);
  return b;
}

// weighed lists what was weighed for a kept cane, with its points.
function weighed(k) {
  const box = Object.assign(document.createElement('details'), { className: 'small' });
  box.append(Object.assign(document.createElement('summary'), { textContent: t('choice.weighed') }));
  const ul = document.createElement('ul');
  for (const term of k.terms) ul.append(Object.assign(document.createElement('li'), { textContent: t('choice.term', { words: tell(term.words), points: number(term.points, 1) }) }));
  box.append(ul);
  return box;
}

// laying tells how a kept cane is laid.
function laying(k) {
  const box = Object.assign(document.createElement('details'), { className: 'small' });
  box.append(Object.assign(document.createElement('summary'), { textContent: t('choice.laying') }));
  const ol = document.createElement('ol');
  for (const s of k.laying.steps) ol.append(Object.assign(document.createElement('li'), { textContent: tell(s) }));
  box.append(ol, small(t('choice.cutwhy', { why: tell(k.cut.why) })));
  return box;
}

function fateBox(f) {
  const box = Object.assign(document.createElement('div'), { className: 'fate' });
  const line = svg('svg', { class: 'sample', viewBox: '0 0 56 16', width: 56, height: 16, 'aria-hidden': 'true' });
  sample(line, f.fate);
  const p = Object.assign(document.createElement('p'), { textContent: f.words });
  p.prepend(line, ' ');
  box.append(p);
  if (f.why) box.append(small(f.why));
  if (f.cut?.check) box.append(Object.assign(document.createElement('p'), { className: 'tie', textContent: tell(f.cut.check) }));
  if (f.ifSound) box.append(small(f.ifSound));
  if (f.second) {
    const second = Object.assign(document.createElement('p'), { className: f.kept.tie ? 'tie' : 'small', textContent: t(f.kept.tie ? 'choice.tie' : 'choice.second', { cane: f.second, behind: number(f.kept.second_behind || 0, 1) }) });
    box.append(second, small(tell(f.kept.second_why)));
    const swap = button(t('choice.swap', { cane: f.second }), () => change(f.second, `lay ${f.index}`));
    swap.dataset.swap = f.second;
    box.append(swap);
  }
  if (f.kept) box.append(weighed(f.kept));
  if (f.kept?.laying) box.append(laying(f.kept));
  if (view.canes.find((c) => c.cane.id === f.id)?.kind === 'old_wood') return box;
  const label = Object.assign(document.createElement('label'), { htmlFor: `fate-${f.id}`, textContent: t('value.of', { what: t('choice.change'), value: t('choice.fate', { cane: f.id }) }), className: 'small' });
  const select = Object.assign(document.createElement('select'), { id: `fate-${f.id}` });
  addOption(select, '', t('choice.fate.suggested'));
  view.form.places.forEach((pl, i) => addOption(select, `lay ${i}`, t('choice.fate.lay', { place: place(pl) })));
  addOption(select, 'spur', t('choice.fate.spur'));
  addOption(select, 'never', t('choice.fate.never'));
  const wished = Object.entries(wishes.keep || {}).find(([, cane]) => cane === f.id);
  select.value = wished ? `lay ${wished[0]}` : (wishes.spurs || []).includes(f.id) ? 'spur' : (wishes.never || []).includes(f.id) ? 'never' : '';
  select.addEventListener('change', () => change(f.id, select.value));
  box.append(label, select);
  return box;
}

// placeBox changes one place of the form: its buds, its way, or that it stays
// empty.
function placeBox(pl, i) {
  const box = Object.assign(document.createElement('div'), { className: 'field' });
  const label = Object.assign(document.createElement('label'), { htmlFor: `place-${i}`, textContent: place(pl) });
  const select = Object.assign(document.createElement('select'), { id: `place-${i}` });
  addOption(select, '', t('choice.place.asform'));
  if (pl.direction === 'either') for (const [way, text] of [['left', 'choice.place.left'], ['right', 'choice.place.right']]) addOption(select, `way ${way}`, t(text));
  for (let n = view.form.buds_per_cane_min; n <= view.form.buds_per_cane_max; n++) if (n !== buds) addOption(select, `buds ${n}`, t('choice.place.buds', { n }));
  addOption(select, 'empty', t('choice.place.empty'));
  select.value = (wishes.empty || []).includes(i) ? 'empty' : wishes.way?.[i] ? `way ${wishes.way[i]}` : wishes.buds?.[i] ? `buds ${wishes.buds[i]}` : '';
  select.addEventListener('change', () => changePlace(i, select.value));
  box.append(label, select);
  return box;
}

// fateWords is what becomes of a cane, in a few words.
function fateWords(f) {
  if (f.what === 'lay') return t('choice.fate.laid', { place: place(f.place), buds: f.buds });
  return t({ spur: 'choice.spurs', remove: 'choice.remove', ask: 'choice.ask' }[f.what] || 'choice.fate.none');
}

// changes lists what a person's wishes change of the suggestion.
function changes() {
  const d = view.difference;
  const items = d.canes.map((c) => t('choice.difference.cane', { cane: c.cane, before: fateWords(c.before), after: fateWords(c.after) }));
  if (d.emptied.length) items.push(t('choice.difference.emptied', { places: d.emptied.map(place).join(', ') }));
  if (d.filled.length) items.push(t('choice.difference.filled', { places: d.filled.map(place).join(', ') }));
  if (d.buds[0] !== d.buds[1]) items.push(t('choice.difference.buds', { before: d.buds[0], after: d.buds[1] }));
  return items;
}

function show() {
  const c = view.choice;
  $('form').textContent = view.form_title;
  point(false);
  $('buds-field').hidden = !view.form.places.length;
  if (!$('buds').options.length) {
    for (let n = view.form.buds_per_cane_min; n <= view.form.buds_per_cane_max; n++) $('buds').append(new Option(n, n));
  }
  $('buds').value = buds;
  $('unruled').hidden = view.unruled === 0;
  $('unruled-text').textContent = t('choice.unruled', { n: view.unruled });
  $('before').hidden = !view.by;
  $('before').textContent = view.by ? t('choice.confirmedby', { who: view.by }) : '';
  const groups = [];
  const all = fates();
  for (const [fate, title] of [['keep', 'choice.keep'], ['spur', 'choice.spurs'], ['ask', 'choice.ask'], ['remove', 'choice.remove']]) {
    const of = all.filter((f) => f.fate === fate);
    if (!of.length) continue;
    const box = Object.assign(document.createElement('section'), { className: 'group' });
    box.append(Object.assign(document.createElement('h3'), { textContent: t(title) }), ...of.map(fateBox));
    groups.push(box);
  }
  const changed = changes();
  if (changed.length) groups.unshift(list(t('choice.difference'), changed, 'difference'));
  if (c.missing.length) groups.unshift(list(t('choice.missing'), c.missing.map(tell)));
  if (c.notes.length) groups.push(list(t('choice.notes'), c.notes.map(tell)));
  if (view.form.places.length) {
    const box = Object.assign(document.createElement('details'), { className: 'group', open: document.querySelector('#places')?.open || false, id: 'places' });
    box.append(Object.assign(document.createElement('summary'), { textContent: t('choice.places') }), ...view.form.places.map(placeBox));
    groups.push(box);
  }
  $('fates').replaceChildren(...groups);
  $('advice').textContent = view.advice;
  $('advice').hidden = !view.advice;
  $('total').textContent = t('choice.total', { buds: c.buds });
  $('changed').hidden = !changed.length;
  draw();
}

async function change(id, value) {
  const before = structuredClone(wishes);
  const keep = Object.fromEntries(Object.entries(wishes.keep || {}).filter(([, cane]) => cane !== id));
  const never = (wishes.never || []).filter((n) => n !== id);
  const spurs = (wishes.spurs || []).filter((n) => n !== id);
  let empty = wishes.empty || [];
  if (value === 'never') never.push(id);
  else if (value === 'spur') spurs.push(id);
  else if (value) {
    keep[value.slice(4)] = id;
    empty = empty.filter((i) => i !== Number(value.slice(4)));
  }
  wishes = { ...wishes, keep, never, spurs, empty };
  if (!await ask()) { wishes = before; show(); }
  document.getElementById(`fate-${id}`)?.focus();
}

async function changePlace(i, value) {
  const before = structuredClone(wishes);
  const [what, n] = value.split(' ');
  const without = (o) => Object.fromEntries(Object.entries(o || {}).filter(([k]) => Number(k) !== i));
  wishes = { ...wishes, empty: (wishes.empty || []).filter((k) => k !== i), buds: without(wishes.buds), way: without(wishes.way) };
  if (what === 'empty') {
    wishes.empty.push(i);
    wishes.keep = without(wishes.keep);
  } else if (what === 'buds') wishes.buds[i] = Number(n);
  else if (what === 'way') wishes.way[i] = n;
  if (!await ask()) { wishes = before; show(); }
  document.getElementById(`place-${i}`)?.focus();
}

// ask has the choice reckoned with the wishes. Asked again meanwhile, only the
// latest answer is shown; asking holds what is under way.
let asked = 0;
let asking = null;

function ask() {
  const answer = reckon(++asked);
  asking = answer;
  $('confirm').setAttribute('aria-busy', 'true');
  answer.finally(() => {
    if (asking !== answer) return;
    asking = null;
    $('confirm').removeAttribute('aria-busy');
  });
  return answer;
}

async function reckon(mine) {
  $('fault').textContent = '';
  $('done').textContent = '';
  $('confirm').hidden = false;
  $('after').hidden = true;
  try {
    const answer = await post(`${address}/preview`, { wishes, buds });
    if (mine !== asked) return true;
    view = answer;
    sendKey = key();
    show();
    return true;
  } catch (e) {
    if (mine !== asked) return true;
    $('fault').textContent = e.message;
    return false;
  }
}

// done shows that a choice is confirmed, and what comes next.
function confirmed(text) {
  $('done').textContent = text;
  $('after').hidden = false;
  $('confirm').hidden = true;
  $('before').hidden = true;
}

let going = 0; // the piece of work with this choice

// confirm keeps the choice in this phone, and has it sent.
async function confirm(after) {
  if (asking && !await asking) return; // what is confirmed is what is shown
  $('fault').textContent = '';
  $('confirm').disabled = true;
  const work = {
    kind: 'choice', path: address, body: { wishes, buds, after }, key: sendKey, who: person(),
    where: document.querySelector('h1').textContent, page: location.pathname, group: `measurement ${view.measurement}`,
  };
  try {
    going = await keep(work);
    kick();
  } catch (e) {
    if (!(e instanceof Full || e instanceof Closed)) throw e;
    try { accepted(await post(work.path, work.body, work.key)); } catch (fault) { refused(fault, null); }
  }
}

function accepted(kept) {
  going = 0;
  view.seq = kept.seq;
  view.by = '';
  sendKey = key();
  $('confirm').disabled = false;
  confirmed(t('choice.confirmed', { who: kept.who }));
}

// refused tells why a choice wasn't taken; work is what still waits, null for
// nothing.
async function refused(e, work) {
  going = 0;
  $('confirm').disabled = false;
  if (e.code !== 'conflict' || !e.now?.who) {
    if (work) await drop(work.id);
    $('fault').textContent = e.message;
    return;
  }
  $('conflict-text').textContent = t('choice.conflict.text', { who: e.now.who });
  $('conflict-theirs').onclick = async () => {
    if (work) await drop(work.id);
    location.reload();
  };
  $('conflict-mine').onclick = async () => {
    $('conflict').close();
    sendKey = key();
    if (!work) { confirm(e.now.seq); return; }
    going = work.id;
    await changeWork(work.id, { state: 'ready', fault: null, key: sendKey, body: { ...work.body, after: e.now.seq } });
    kick();
  };
  $('conflict').showModal();
}

hear(async (news) => {
  if (!going) return;
  if (news.sent === going) accepted(news.answer);
  else if (news.stuck === going) {
    const work = (await allWork()).find((w) => w.id === going);
    if (work) await refused(work.fault, work);
  } else if (news.wait) {
    $('confirm').disabled = false;
    confirmed(t(news.wait === 'signin' ? 'wait.signin' : 'wait.choice'));
    if (news.wait === 'signin' && navigator.onLine && !$('again').open && await signInAgain()) kick();
  }
});

// One that was confirmed here before and hasn't arrived.
const before = (await allWork().catch(() => [])).find((w) => w.kind === 'choice' && w.path === address && w.who === person());
if (before) {
  ({ wishes, buds } = before.body);
  going = before.id;
}

stage.onView = draw;
$('buds').addEventListener('change', async () => {
  const before = buds;
  buds = Number($('buds').value);
  if (!await ask()) { buds = before; show(); }
});
$('confirm').addEventListener('click', () => confirm(view.seq));
show();
if (before?.state === 'stuck') refused(before.fault, before);
else if (before) confirmed(t('wait.choice'));
stage.root.dataset.ready = 'yes';

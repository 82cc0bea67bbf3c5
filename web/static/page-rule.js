// The page on which a person rules on the findings of one photo, one cane
// after another. Everything that is computed (internodes, diameters, findings
// after a correction) comes from the service.
import { get, post, key } from './net.js';
import { t, interval, number, day, said } from './text.js';
import { Stage, svg, nearest, placeAt } from './stage.js';
import { drawCanes, sample, sortOf, sorts, box } from './canes.js';
import { Drafts } from './drafts.js';

const $ = (id) => document.getElementById(id);
const address = `/api/measurements/${$('rule').dataset.measurement}`;
let view = await get(address);
const drafts = new Drafts(view.id, view.seq);
const stage = new Stage($('stage'), { width: view.seen.width_px, height: view.seen.height_px, medium: view.medium, full: view.full });
let chosen = null; // number of the cane in hand
let editing = false;
let picked = -1; // node in hand
let pointing = null; // {base} while a missed cane is pointed out
const derived = {}; // cane -> what the service made of its draft
let saveKey = key();

// rows lists the canes with what stands of each: the draft above what is
// saved, and that above what the program said.
function rows() {
  const list = [...view.seen.canes];
  for (const c of view.confirmed) if (c.added && !list.some((o) => o.id === c.cane.id)) list.push(c.cane);
  for (const r of view.rulings) if (r.missed && !list.some((o) => o.id === r.cane)) list.push(r.missed);
  for (const c of Object.values(drafts.missed)) if (!list.some((o) => o.id === c.id)) list.push(c);
  return list.map((seen) => {
    const row = { seen, cane: seen, kind: '', gone: false, said: '', draft: null, saved: null };
    row.saved = view.rulings.findLast((r) => r.cane === seen.id) || null;
    const confirmed = view.confirmed.find((c) => c.cane.id === seen.id);
    if (row.saved) {
      row.said = row.saved.said;
      if (confirmed) { row.cane = confirmed.cane; row.kind = confirmed.kind; } else row.gone = true;
    }
    row.draft = drafts.said[seen.id] || null;
    if (row.draft) {
      row.said = row.draft.said;
      row.gone = row.said === 'reject' || row.draft.kind === 'not_a_cane';
      row.kind = row.draft.kind || '';
      // Until the service has answered, only the nodes' places are new.
      row.cane = row.draft.said === 'correct' ? { ...(derived[seen.id] || seen) } : seen;
      if (row.draft.nodes) row.cane.nodes = row.draft.nodes;
    }
    return row;
  });
}

const rowOf = (id) => rows().find((r) => r.cane.id === id);

function show() {
  const all = rows();
  const row = all.find((r) => r.cane.id === chosen) || null;
  $('cane').hidden = !row;
  $('acts').hidden = !row || editing;
  $('edit').hidden = $('editing').hidden = !row || !editing;
  $('none').hidden = all.length > 0;
  $('previous').disabled = $('next').disabled = all.length < 2;
  const done = all.filter((r) => r.draft || r.saved).length;
  $('left').textContent = all.length ? (done === all.length ? t('rule.allruled') : t('rule.left', { n: done, all: all.length })) : '';
  const n = drafts.count;
  $('save').disabled = n === 0;
  $('save').textContent = n ? t('rule.save', { n }) : t('rule.save.none');
  $('undo').disabled = drafts.steps.length === 0;
  $('after').hidden = !(view.confirmed.length > 0 && n === 0);
  if (row) showCane(row, all);
  else $('cane-title').textContent = $('state').textContent = '';
  draw();
}

function showCane(row, all) {
  $('cane-title').textContent = t('rule.title', { n: row.cane.id, all: all.length });
  const drafted = row.draft && t(`rule.draft.${row.draft.said}`);
  $('state').textContent = row.draft ? t('rule.state.draft', { said: drafted })
    : row.saved ? t('rule.state.saved', { said: t(`said.${row.saved.said}`), who: row.saved.who, when: day(row.saved.when) })
      : t('rule.state.open');
  const sort = sortOf(row);
  sample($('sample'), sort);
  $('whose').textContent = row.said === 'correct' ? t('rule.corrected') : t('rule.program');
  $('finding').textContent = row.gone && row.said === 'reject' ? t('rule.draft.reject')
    : row.gone ? t('kind.not_a_cane') : row.kind === 'old_wood' ? t('kind.old_wood') : t(`finding.${row.cane.finding || ''}`);
  $('v-diameter').textContent = interval(row.cane.diameter_mm, 1);
  $('v-internode').textContent = interval(row.cane.internode_mm, 0);
  $('v-length').textContent = interval(row.cane.length_mm, 0) + (row.cane.leaves_frame ? ` (${t('rule.leaves')})` : '');
  $('v-nodes').textContent = row.cane.nodes.length;
  $('because').replaceChildren(...(row.cane.because || []).map((b) => Object.assign(document.createElement('li'), { textContent: said(view, b) })));
  $('had').textContent = row.said === 'correct' && !row.draft?.trace && !row.saved?.missed
    ? t('rule.seen', { finding: `${t(`finding.${row.seen.finding || ''}`)}, ${interval(row.seen.diameter_mm, 1)}, ${row.seen.nodes.length} ${t('rule.nodes').toLowerCase()}` }) : '';
  $('agree').setAttribute('aria-pressed', String(row.draft?.said === 'agree'));
  $('reject').setAttribute('aria-pressed', String(row.draft?.said === 'reject'));
  $('correct').setAttribute('aria-expanded', String(editing));
  if (!editing) return;
  const d = row.draft?.said === 'correct' ? row.draft : {};
  $('kind').value = d.kind || '';
  $('own').value = d.finding || '';
  if (document.activeElement !== $('byhand')) $('byhand').value = d.diameter_mm_by_hand || '';
  if (document.activeElement !== $('note')) $('note').value = d.note || '';
  const node = row.cane.nodes[picked];
  $('delete-node').disabled = !node;
  $('delete-node').textContent = node ? t('rule.edit.remove', { n: picked + 1 }) : t('rule.edit.pick');
  listNodes(row);
}

function draw() {
  drawCanes(stage, view.seen, rows(), chosen, editing, picked);
  if (pointing) {
    const r = stage.px(16);
    const cross = (x, y) => svg('path', { class: 'cross', d: `M${x - r} ${y}H${x + r}M${x} ${y - r}V${y + r}` });
    if (pointing.base) stage.layer.append(svg('circle', { class: 'cross', cx: pointing.base[0], cy: pointing.base[1], r: stage.px(9) }));
    if (document.activeElement === stage.root) stage.layer.append(cross(stage.view.x, stage.view.y));
  }
}

// choose takes a cane in hand and shows it.
function choose(id, look = true) {
  chosen = id;
  picked = -1;
  const row = rowOf(id);
  if (row && look) stage.fit(...box(row.cane));
  if (row?.draft?.said === 'correct' && !derived[id]) derive(id);
  show();
}

function step(by) {
  const all = rows();
  const i = all.findIndex((r) => r.cane.id === chosen);
  editing = false;
  choose(all[(i + by + all.length) % all.length].cane.id);
}

// toNext goes to the next cane that nobody ruled on, if there is one.
function toNext() {
  const all = rows();
  const i = all.findIndex((r) => r.cane.id === chosen);
  const next = [...all.slice(i + 1), ...all.slice(0, i)].find((r) => !r.draft && !r.saved);
  editing = false;
  if (next) choose(next.cane.id);
  else { picked = -1; stage.whole(); show(); }
}

function say(said) {
  banner('');
  drafts.change(chosen, (all) => { all[chosen] = { cane: chosen, said }; });
  toNext();
}

// correct changes the correction of the cane in hand: change gets the ruling
// and mends it. A correction that corrects nothing any more is no ruling.
function correct(change) {
  banner('');
  const row = rowOf(chosen);
  drafts.change(chosen, (all) => {
    const d = all[chosen]?.said === 'correct' ? all[chosen] : { ...savedCorrection(row), cane: chosen, said: 'correct' };
    change(d, row);
    for (const k of Object.keys(d)) if (d[k] === '' || d[k] === null || d[k] === 0 || Number.isNaN(d[k])) delete d[k];
    const says = ['kind', 'finding', 'nodes', 'diameter_mm_by_hand', 'trace'].some((k) => d[k] !== undefined);
    if (says) all[chosen] = d;
    else delete all[chosen];
  });
  derive(chosen);
  show();
}

// savedCorrection is what an earlier ruling corrected: a later one stands
// alone, so it has to repeat what is still meant.
function savedCorrection(row) {
  const s = row.saved?.said === 'correct' ? row.saved : null;
  if (!s) return {};
  const d = {};
  for (const k of ['kind', 'finding', 'nodes', 'diameter_mm_by_hand', 'note']) if (s[k]) d[k] = structuredClone(s[k]);
  return d;
}

// derive asks the service what the corrected cane is; the last question wins.
const asked = {};
async function derive(id) {
  const d = drafts.said[id];
  delete derived[id];
  $('fault').textContent = '';
  if (!d || d.said !== 'correct') return;
  const n = asked[id] = (asked[id] || 0) + 1;
  try {
    const answer = await post(`${address}/preview`, d);
    if (asked[id] !== n) return;
    if (answer.cane) derived[id] = answer.cane;
    Object.assign(view.words ??= {}, answer.words);
  } catch (e) {
    if (asked[id] === n) $('fault').textContent = e.message;
  }
  show();
}

function nodesOf(row) { return structuredClone(row.cane.nodes); }

function setNodes(d, nodes) {
  nodes.sort((a, b) => a.along_mm - b.along_mm);
  d.nodes = nodes;
}

function nodeAt(row, along, was) {
  return { px: placeAt(row.cane, along), along_mm: along, side: was?.side || 'unknown', confidence: 1 };
}

function moveNode(i, along) {
  const last = rowOf(chosen).cane.along_mm.at(-1);
  const to = Math.min(last, Math.max(0, along));
  correct((d, row) => {
    const nodes = nodesOf(row);
    nodes[i] = nodeAt(row, to, nodes[i]);
    const moved = nodes[i];
    setNodes(d, nodes);
    picked = nodes.indexOf(moved);
  });
}

function addNode(along) {
  correct((d, row) => {
    const nodes = nodesOf(row);
    const added = nodeAt(row, along);
    nodes.push(added);
    setNodes(d, nodes);
    picked = nodes.indexOf(added);
  });
}

function deleteNode(i) {
  correct((d, row) => {
    const nodes = nodesOf(row);
    nodes.splice(i, 1);
    setNodes(d, nodes);
    picked = -1;
  });
}

// listNodes offers the nodes by number and millimetre: for the keyboard, for
// screen readers, and for who measured with a ruler.
function listNodes(row) {
  if ($('nodes').contains(document.activeElement)) return;
  $('nodes').replaceChildren(...row.cane.nodes.map((n, i) => {
    const li = document.createElement('li');
    const field = document.createElement('div');
    const label = Object.assign(document.createElement('label'), { htmlFor: `node-${i}`, textContent: t('rule.edit.node', { n: i + 1 }) });
    const input = Object.assign(document.createElement('input'), { id: `node-${i}`, type: 'number', step: '1', min: '0', value: number(n.along_mm).replace(',', '.') });
    input.addEventListener('change', () => { const v = Number(input.value); input.blur(); moveNode(i, v); });
    const del = Object.assign(document.createElement('button'), { type: 'button', textContent: '✗' });
    del.setAttribute('aria-label', t('rule.edit.remove', { n: i + 1 }));
    del.addEventListener('click', () => { del.blur(); deleteNode(i); });
    field.append(label, input);
    li.append(field, del);
    return li;
  }));
}

// How near a finger has to be, CSS pixels.
const REACH = 26;

stage.onView = () => draw();
stage.onTap = (place, target) => {
  if (pointing) { point(place); return; }
  if (editing) {
    const row = rowOf(chosen);
    const i = nodeNear(row, place);
    if (i >= 0) { picked = i; show(); return; }
    const at = nearest(row.cane, place);
    if (at.away < stage.px(REACH)) addNode(at.along);
    else { picked = -1; show(); }
    return;
  }
  const id = Number(target.dataset?.cane);
  if (id) choose(id, false);
};
stage.onGrab = (place) => {
  if (!editing || pointing) return null;
  const row = rowOf(chosen);
  const i = nodeNear(row, place);
  if (i < 0) return null;
  picked = i;
  const dot = stage.layer.querySelectorAll('.chosen .node')[i];
  let along = row.cane.nodes[i].along_mm;
  return {
    move: (p) => {
      const at = nearest(row.cane, p);
      along = at.along;
      dot.setAttribute('cx', at.px[0]);
      dot.setAttribute('cy', at.px[1]);
    },
    end: (p) => { if (p) moveNode(i, along); else show(); },
  };
};

function nodeNear(row, place) {
  let best = -1;
  let away = stage.px(REACH);
  row.cane.nodes.forEach((n, i) => {
    const d = Math.hypot(n.px[0] - place.x, n.px[1] - place.y);
    if (d < away) { best = i; away = d; }
  });
  return best;
}

// A missed cane: base, tip, and the service follows it.
function point(place) {
  const at = [place.x, place.y];
  if (!pointing.base) {
    pointing.base = at;
    banner(t('rule.missed.tip'));
    draw();
    return;
  }
  if (pointing.busy) return;
  pointing.busy = true;
  banner(t('rule.missed.tracing'));
  post(`${address}/guide`, { base: pointing.base, tip: at }).then(({ trace, cane }) => {
    stopPointing();
    drafts.change(chosen, (all, missed) => {
      missed[cane.id] = cane;
      all[cane.id] = { cane: cane.id, said: 'correct', trace };
    });
    editing = true;
    choose(cane.id);
    banner(t('rule.missed.found', { n: cane.id }), true);
  }).catch((e) => {
    stopPointing();
    $('fault').textContent = e.message;
    show();
  });
}

function banner(text, passing = false) {
  $('banner').hidden = !text;
  $('banner-text').textContent = text;
  $('banner-cancel').hidden = passing;
}

function stopPointing() { pointing = null; banner(''); }

async function save() {
  $('save').disabled = true;
  $('fault').textContent = '';
  try {
    view = await post(`${address}/rulings`, { after: drafts.seq, rulings: drafts.list() }, saveKey);
    drafts.clear(view.seq);
    saveKey = key();
    editing = false;
    banner(t('rule.saved', { who: document.body.dataset.who }), true);
    window.scrollTo(0, 0);
    $('banner').parentElement.scrollTop = 0;
  } catch (e) {
    if (e.code === 'conflict' && e.now?.rulings) conflict(e.now);
    else $('fault').textContent = e.message;
  }
  show();
}

// Somebody else saved first: show what, and ask.
function conflict(now) {
  const theirs = now.rulings.slice(drafts.seq);
  $('conflict-list').replaceChildren(...theirs.map((r) => Object.assign(document.createElement('li'), {
    textContent: t('rule.conflict.line', { cane: r.cane, said: t(`said.${r.missed ? 'added' : r.said}`), who: r.who }),
  })));
  $('conflict-theirs').onclick = async () => {
    $('conflict').close();
    view = await get(address);
    drafts.clear(view.seq);
    saveKey = key();
    choose(chosen);
  };
  $('conflict-mine').onclick = async () => {
    $('conflict').close();
    drafts.seq = now.seq;
    drafts.keep();
    saveKey = key();
    await save();
  };
  $('conflict').showModal();
}

for (const f of ['', ...view.findings]) {
  $('own').append(Object.assign(document.createElement('option'), { value: f, textContent: f ? t(`finding.${f}`) : t('rule.edit.bymeasures') }));
}
for (const sort of sorts) {
  const line = svg('svg', { class: 'sample', viewBox: '0 0 56 16', width: 56, height: 16, 'aria-hidden': 'true' });
  sample(line, sort);
  const li = document.createElement('li');
  li.append(line, sort === 'old_wood' ? t('kind.old_wood') : t(`finding.${sort}`));
  $('legend').append(li);
}
$('previous').addEventListener('click', () => step(-1));
$('next').addEventListener('click', () => step(1));
$('agree').addEventListener('click', () => (rowOf(chosen).draft?.said === 'correct' ? toNext() : say('agree')));
$('reject').addEventListener('click', () => say('reject'));
$('correct').addEventListener('click', () => { editing = true; choose(chosen); });
$('done').addEventListener('click', () => { editing = false; picked = -1; banner(''); show(); $('agree').focus(); });
$('delete-node').addEventListener('click', () => deleteNode(picked));
$('kind').addEventListener('change', (e) => correct((d) => {
  d.kind = e.target.value;
  if (d.kind) delete d.finding;
}));
$('own').addEventListener('change', (e) => correct((d) => {
  d.finding = e.target.value;
  if (d.finding) delete d.kind;
}));
$('byhand').addEventListener('change', (e) => correct((d) => { d.diameter_mm_by_hand = Number(e.target.value) || 0; }));
$('note').addEventListener('change', (e) => correct((d) => { d.note = e.target.value.trim(); }));
$('add').addEventListener('click', () => { if ($('addat').value !== '') { addNode(Number($('addat').value)); $('addat').value = ''; } });
$('undo').addEventListener('click', () => {
  const back = drafts.undo();
  if (!back) return;
  for (const id of Object.keys(derived)) delete derived[id];
  for (const id of Object.keys(drafts.said)) derive(Number(id));
  if (rowOf(back.where)) choose(back.where, back.where !== chosen);
  else choose(rows()[0]?.cane.id ?? null);
});
$('missed').addEventListener('click', () => {
  pointing = { base: null };
  editing = false;
  stage.whole();
  banner(`${t('rule.missed.base')} ${t('rule.missed.keys')}`);
  show();
  window.scrollTo(0, 0);
  stage.root.focus({ preventScroll: true });
});
$('banner-cancel').addEventListener('click', () => { stopPointing(); show(); });
$('save').addEventListener('click', save);

const first = rows().find((r) => !r.draft && !r.saved) || rows()[0];
for (const id of Object.keys(drafts.said)) derive(Number(id));
if (first) choose(first.cane.id);
else show();
stage.root.dataset.ready = 'yes';

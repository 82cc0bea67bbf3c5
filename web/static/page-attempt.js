// Choosing for a vine of an exercise: from the photo, with as much of the
// measurement as the exercise shows, and sealed in the end. Nothing is reckoned
// here: how many buds a tap means is worked out by the service.
import { get, post, key } from './net.js';
import { t, interval, day } from './text.js';
import { Stage, svg, path, tag, tagPlace } from './stage.js';
import { cutMark, decisionWords, placeWords, styleOf, markWords, whyWords } from './decisions.js';

const $ = (id) => document.getElementById(id);
const root = $('attempt');
const about = root.dataset.about !== '0' ? root.dataset.about : '';
const query = about ? `?about=${about}` : '';
const view = await get(root.dataset.address + query);
const canes = view.shown.canes;
const form = view.shown.form;
const stage = new Stage($('stage'), { width: view.shown.width_px, height: view.shown.height_px, medium: view.medium, full: view.full });
let sendKey = key();

// What is decided so far stays in this browser until it is sealed.
const draftName = `nodespan.attempt.${document.body.dataset.who}.${root.dataset.address}.${about}.${view.attempts}`;
const plain = (c) => ({ head: c.head || '', head_words: c.head_words || '', canes: Object.fromEntries(c.canes.map((d) => [d.cane, { fate: d.fate, place: d.place || 0, cut_px: d.cut_px || null, reason: d.reason || '', words: d.words || '' }])) });
let draft = view.start ? plain(view.start) : { head: '', head_words: '', canes: {} };
try { draft = JSON.parse(localStorage.getItem(draftName)) || draft; } catch { /* nothing kept, or storage forbidden */ }
function keep() {
  try { localStorage.setItem(draftName, JSON.stringify(draft)); } catch { /* full or forbidden */ }
}

let at = 0; // the cane in hand
// Whether a cane is in hand: of the photo alone none is until one is tapped.
let touched = view.shown.mode !== 'photo' || Object.keys(draft.canes).length > 0;
const cane = () => canes[at];
const of = (id) => draft.canes[id];
const decide = (id, change) => {
  draft.canes[id] = { fate: '', place: 0, cut_px: null, reason: '', words: '', ...of(id), ...change };
  keep();
};
const needsCut = (d) => d && (d.fate === 'lay' || d.fate === 'spur');

// lengths of the line up to each of its points, in photo pixels: for the slider
// that moves the cut along the cane.
function lengths(line) {
  const out = [0];
  for (let i = 1; i < line.length; i++) out.push(out[i - 1] + Math.hypot(line[i][0] - line[i - 1][0], line[i][1] - line[i - 1][1]));
  return out;
}
function along(line, share) {
  const l = lengths(line);
  const want = share * l[l.length - 1];
  for (let i = 1; i < l.length; i++) {
    if (want <= l[i]) {
      const s = l[i] > l[i - 1] ? (want - l[i - 1]) / (l[i] - l[i - 1]) : 0;
      return [line[i - 1][0] + s * (line[i][0] - line[i - 1][0]), line[i - 1][1] + s * (line[i][1] - line[i - 1][1])];
    }
  }
  return line[line.length - 1];
}
// nearest is the place on a line nearest to a tap: {px, away, share}.
function nearest(line, p) {
  const l = lengths(line);
  let best = { px: line[0], away: Infinity, share: 0 };
  for (let i = 1; i < line.length; i++) {
    const [ax, ay] = line[i - 1];
    const [bx, by] = line[i];
    const l2 = (bx - ax) ** 2 + (by - ay) ** 2;
    const s = l2 ? Math.min(1, Math.max(0, ((p.x - ax) * (bx - ax) + (p.y - ay) * (by - ay)) / l2)) : 0;
    const px = [ax + s * (bx - ax), ay + s * (by - ay)];
    const away = Math.hypot(p.x - px[0], p.y - px[1]);
    if (away < best.away) best = { px, away, share: (l[i - 1] + s * (l[i] - l[i - 1])) / (l[l.length - 1] || 1) };
  }
  return best;
}

function draw() {
  stage.layer.replaceChildren();
  const shown = view.sealed ? view.sealed.choice.canes : null;
  const tags = [];
  const taken = [];
  // What is in hand gets its words first, and lies on top.
  const order = canes.map((c, i) => [c, i]).sort((a, b) => (b[1] === at) - (a[1] === at));
  const lines = [];
  order.forEach(([c, i]) => {
    const d = shown ? shown.find((x) => x.cane === c.id) : of(c.id);
    const inHand = !shown && touched && i === at;
    // Of the photo alone a line is shown once the cane is taken in hand.
    if (view.shown.mode === 'photo' && !inHand && !d?.fate) return;
    const g = svg('g', { class: inHand ? 'chosen' : '' });
    const p = path(c.line_px);
    g.append(svg('path', { class: 'case', d: p }), svg('path', { class: `cane ${d?.fate ? styleOf[d.fate] : 'none'}`, d: p }));
    if (inHand) for (const n of c.nodes_px || []) g.append(svg('circle', { class: 'node', cx: n[0], cy: n[1], r: stage.px(5) }));
    if (d?.cut_px) cutMark(stage, g, c.line_px, d.cut_px);
    lines.unshift(g);
    for (const words of [`${c.id} ${d?.fate ? markWords(d) : ''}`.trim(), `${c.id}`]) {
      const place = tagPlace(stage, c.line_px, words, taken);
      if (place) { tags.push(svg('g', { class: inHand ? 'chosen' : '' }, tag(stage, place, words))); break; }
    }
  });
  stage.layer.append(...lines, ...tags);
}

function option(select, value, text) { select.append(Object.assign(document.createElement('option'), { value, textContent: text })); }

for (const fate of ['lay', 'spur', 'remove', 'other', 'ask']) {
  if (fate === 'lay' && !form.places.length) continue;
  const b = Object.assign(document.createElement('button'), { type: 'button', textContent: t(`exercise.fate.${fate}`) });
  b.dataset.fate = fate;
  b.addEventListener('click', () => {
    touched = true;
    const change = { fate };
    if (fate === 'lay') {
      const taken = Object.entries(draft.canes).filter(([id, d]) => Number(id) !== cane().id && d.fate === 'lay').map(([, d]) => d.place);
      if (!of(cane().id)?.place) change.place = form.places.findIndex((_, i) => !taken.includes(i + 1)) + 1;
    } else change.place = 0;
    if (!needsCut({ fate })) change.cut_px = null;
    decide(cane().id, change);
    show();
  });
  $('fates').append(b);
}
option($('place'), 0, t('exercise.place.none'));
form.places.forEach((p, i) => option($('place'), i + 1, `${i + 1}. ${placeWords(p)}`));
option($('reason'), '', t('exercise.reason.none'));
for (const r of view.reasons) option($('reason'), r, t(`exercise.reason.${r}`));
for (const h of view.heads) {
  const label = Object.assign(document.createElement('label'), { className: 'pick' });
  const input = Object.assign(document.createElement('input'), { type: 'radio', name: 'head', value: h, checked: draft.head === h });
  input.addEventListener('change', () => { draft.head = h; keep(); });
  label.append(input, ' ', Object.assign(document.createElement('span'), { textContent: t(`exercise.head.${h}`) }));
  $('head').append(label);
}
$('head-words').value = draft.head_words;
$('head-words').addEventListener('input', () => { draft.head_words = $('head-words').value; keep(); });
$('place').addEventListener('change', () => { decide(cane().id, { place: Number($('place').value) }); show(); });
$('reason').addEventListener('change', () => { decide(cane().id, { reason: $('reason').value }); });
$('words').addEventListener('input', () => { decide(cane().id, { words: $('words').value }); });
$('cut').addEventListener('input', () => {
  decide(cane().id, { cut_px: along(cane().line_px, Number($('cut').value) / 1000) });
  show();
});

function go(step) {
  at = (at + step + canes.length) % canes.length;
  touched = true;
  show();
}
$('previous').addEventListener('click', () => go(-1));
$('next').addEventListener('click', () => go(1));
$('rest').addEventListener('click', () => {
  for (const c of canes) if (!of(c.id)?.fate) decide(c.id, { fate: 'remove' });
  touched = true;
  show();
});

// A tap on the cane in hand sets its cut when it is kept; a tap on another one
// takes that in hand.
stage.onTap = (p) => {
  if (view.sealed) return;
  const hits = canes.map((c, i) => ({ i, ...nearest(c.line_px, p) })).sort((a, b) => a.away - b.away);
  const mine = hits.find((h) => h.i === at);
  const reach = Math.max(stage.px(28), view.shown.width_px * 0.006);
  if (touched && needsCut(of(cane().id)) && mine.away <= reach && (mine.away <= hits[0].away + stage.px(10))) {
    decide(cane().id, { cut_px: mine.px });
  } else if (hits[0].away <= reach) {
    at = hits[0].i;
    touched = true;
  } else return;
  show();
};

function line(c, d) {
  const li = document.createElement('li');
  const b = Object.assign(document.createElement('button'), { type: 'button', className: 'asline', textContent: `${t('choice.fate', { cane: c.id })}: ${d?.fate ? decisionWords(d, form) : t('exercise.undecided')}${needsCut(d) && !d.cut_px ? ` – ${t('exercise.cut.missing')}` : ''}` });
  b.addEventListener('click', () => { at = canes.indexOf(c); touched = true; show(); });
  li.append(b);
  return li;
}

function show() {
  $('form').textContent = view.form_title;
  $('choosing').hidden = Boolean(view.sealed);
  $('sealed').hidden = !view.sealed;
  if (view.sealed) showSealed();
  else {
    const c = cane();
    const d = of(c.id);
    $('cane-title').textContent = touched ? t('exercise.cane', { cane: c.id, n: at + 1, all: canes.length }) : t('exercise.tapfirst');
    const measures = [];
    if (c.diameter_mm) measures.push(t('value.of', { what: t('vine.diameter'), value: interval(c.diameter_mm, 1) }));
    if (c.internode_mm) measures.push(t('value.of', { what: t('vine.internode'), value: interval(c.internode_mm, 0) }));
    if (c.finding) measures.push(t(`finding.${c.finding}`));
    $('measures').textContent = measures.join('. ');
    $('measures').hidden = !measures.length;
    $('in-hand').hidden = !touched;
    for (const b of $('fates').children) b.setAttribute('aria-pressed', String(d?.fate === b.dataset.fate));
    $('place-field').hidden = d?.fate !== 'lay';
    $('place').value = d?.place || 0;
    $('cut-field').hidden = !needsCut(d);
    $('cut-text').textContent = t(d?.cut_px ? 'exercise.cut.set' : 'exercise.cut.tap');
    $('cut').value = d?.cut_px ? Math.round(nearest(c.line_px, { x: d.cut_px[0], y: d.cut_px[1] }).share * 1000) : 0;
    $('reason').value = d?.reason || '';
    $('words').value = d?.words || '';
    $('sofar').replaceChildren(...canes.map((x) => line(x, of(x.id))));
  }
  draw();
}

function showSealed() {
  const s = view.sealed;
  $('sealed-text').textContent = s.passed ? t('exercise.sealed.passed', { when: day(s.when) }) : t(s.blind || about ? 'exercise.sealed' : 'exercise.sealed.informed', { n: s.attempt, when: day(s.when) });
  $('sealed-list').replaceChildren(...s.choice.canes.map((d) => Object.assign(document.createElement('li'), { textContent: t('value.of', { what: t('choice.fate', { cane: d.cane }), value: [decisionWords(d, form), whyWords(d)].filter(Boolean).join(' – ') }) })));
  if (s.choice.head) $('sealed-list').append(Object.assign(document.createElement('li'), { textContent: [t(`exercise.head.${s.choice.head}`), s.choice.head_words].filter(Boolean).join('. ') }));
  $('withdraw-box').hidden = s.passed;
}

async function seal(body) {
  $('fault').textContent = '';
  try {
    view.sealed = await post(`${root.dataset.address}/choices${query}`, { after: view.attempts, ...body }, sendKey);
    view.attempts = view.sealed.attempt;
    try { localStorage.removeItem(draftName); } catch { /* nothing kept */ }
    if (about) { location.href = root.dataset.compare; return; }
    show();
    $('sealed').scrollIntoView({ block: 'nearest' });
  } catch (e) {
    sendKey = key();
    $('fault').textContent = e.message;
    $('fault').scrollIntoView({ block: 'nearest' });
  }
}
$('seal').addEventListener('click', () => {
  const decided = canes.filter((c) => of(c.id)?.fate).map((c) => {
    const d = of(c.id);
    return { cane: c.id, fate: d.fate, ...(d.place && { place: d.place }), ...(d.cut_px && { cut_px: d.cut_px }), ...(d.reason && { reason: d.reason }), ...(d.words && { words: d.words }) };
  });
  seal({ choice: { canes: decided, ...(draft.head && { head: draft.head }), ...(draft.head_words && { head_words: draft.head_words }) } });
});
$('pass')?.addEventListener('click', () => { if (confirm(t('exercise.pass.ask'))) seal({ pass: true }); });
$('withdraw').addEventListener('click', async () => {
  try {
    await post(`${root.dataset.address}/withdrawals`, { choice: view.sealed.id, why: $('withdraw-why').value });
    location.reload();
  } catch (e) { $('sealed-text').textContent = e.message; }
});

stage.onView = draw;
show();
stage.root.dataset.ready = 'yes';

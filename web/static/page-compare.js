// Two choices over the same photo, and the program's suggestion for whoever
// asks for it. Where they differ is told by sign and word.
import { get, post } from './net.js';
import { t, day } from './text.js';
import { Stage, svg } from './stage.js';
import { decisionWords, whyWords, drawDecisions, drawArrow } from './decisions.js';

const $ = (id) => document.getElementById(id);
const root = $('compare');
const query = `?who=${root.dataset.who}`;
let view = await get(`${root.dataset.address}/comparison${query}`);
let program = null;
const stage = new Stage($('stage'), { width: view.shown.width_px, height: view.shown.height_px, medium: view.medium, full: view.full });
const mirror = $('mirror');
mirror.append(svg('image', { x: -0.5, y: -0.5, width: view.shown.width_px, height: view.shown.height_px, preserveAspectRatio: 'none', href: view.medium }), svg('g'));
const form = view.shown.form;

// Whose choices can be drawn.
const choices = () => ({
  first: view.first && !view.first.passed ? view.first.choice : null,
  second: view.second ? view.second.choice : null,
  program: program?.choice || null,
});
const names = { first: root.dataset.name, second: root.dataset.trainer };
function fill(select, chosen) {
  const had = select.value || chosen;
  select.replaceChildren();
  for (const [who, c] of Object.entries(choices())) if (c) select.append(new Option(who === 'program' ? t('exercise.program') : names[who], who));
  select.append(new Option(t('exercise.compare.photo'), 'none'));
  select.value = had;
  if (!select.value) select.value = 'none';
}

const rowOf = (c, id) => c?.rows.find((r) => r.cane === id);
// sign before a cane's number: whether both say the same of it.
const sign = (id) => {
  const r = rowOf(view.comparison, id);
  return r ? (r.differs.length ? '≠ ' : '= ') : '';
};

let tail = null; // of an arrow on the way
let arrow = null; // an arrow that is drawn and not kept yet
let drawing = false;

function draw() {
  for (const [select, layer] of [[$('left-whose'), stage.layer], [$('right-whose'), mirror.lastChild]]) {
    const c = choices()[select.value];
    if (c) drawDecisions(stage, layer, view.shown.canes, c, sign);
    else layer.replaceChildren();
    view.remarks.forEach((r, i) => { if (r.remark.to_px) drawArrow(stage, layer, r.remark.from_px, r.remark.to_px, String.fromCharCode(65 + i)); });
  }
  if (arrow) drawArrow(stage, stage.layer, arrow.from, arrow.to, '');
  if (tail) stage.layer.append(svg('circle', { class: 'headmark', cx: tail[0], cy: tail[1], r: stage.px(8) }));
  mirror.setAttribute('viewBox', stage.root.getAttribute('viewBox'));
}

const cell = (tr, name, ...content) => {
  const td = document.createElement('td');
  td.dataset.name = name;
  const box = document.createElement('span');
  box.append(...content);
  td.append(box);
  tr.append(td);
  return td;
};
const small = (text) => Object.assign(document.createElement('small'), { textContent: text });
function said(tr, name, d) {
  if (!d) { cell(tr, name, t('exercise.compare.nothing')); return; }
  const why = whyWords(d);
  cell(tr, name, decisionWords(d, form), ...(why ? [document.createElement('br'), small(why)] : []));
}
const differWords = (r) => (r.differs.length ? `≠ ${r.differs.map((k) => t(`exercise.differs.${k}`)).join(', ')}` : `= ${t('exercise.differs.none')}`);

function table() {
  const body = $('rows').tBodies[0];
  body.replaceChildren();
  const c = choices();
  $('program-head').hidden = !program;
  for (const shown of view.shown.canes) {
    const tr = document.createElement('tr');
    const r = rowOf(view.comparison, shown.id);
    tr.dataset.cane = shown.id;
    if (r?.differs.length) tr.className = 'differs';
    cell(tr, t('vine.cane'), Object.assign(document.createElement('strong'), { textContent: shown.id }), ' ', small(shown.finding ? t(`finding.${shown.finding}`) : ''));
    cell(tr, t('exercise.compare.sign'), r ? differWords(r) : '');
    for (const who of ['first', 'second']) said(tr, names[who], c[who]?.canes.find((d) => d.cane === shown.id));
    if (program) {
      const p = rowOf(program.comparison, shown.id);
      said(tr, t('exercise.program'), c.program.canes.find((d) => d.cane === shown.id));
      if (p) tr.lastChild.firstChild.append(document.createElement('br'), small(differWords(p)));
    }
    body.append(tr);
  }
  const tr = document.createElement('tr');
  const head = (x) => (x?.head ? [t(`exercise.head.${x.head}`), x.head_words].filter(Boolean).join('. ') : t('exercise.compare.nothing'));
  cell(tr, t('vine.cane'), Object.assign(document.createElement('strong'), { textContent: t('exercise.kind.head') }));
  cell(tr, t('exercise.compare.sign'), view.comparison?.head_said ? (view.comparison.head_same ? `= ${t('exercise.differs.none')}` : `≠ ${t('exercise.differs.head')}`) : '');
  cell(tr, names.first, head(c.first));
  cell(tr, names.second, head(c.second));
  if (program) cell(tr, t('exercise.program'), t('exercise.compare.nothing'));
  body.append(tr);
  $('alike').textContent = view.first?.passed ? t('exercise.compare.passed') : !c.first ? t('exercise.compare.unsealed') : view.comparison
    ? t('exercise.vine.alike', { same: view.comparison.same, n: view.comparison.rows.length }) : t('exercise.compare.unjudged');
}

function remarks() {
  $('remarks').replaceChildren(...view.remarks.map((r, i) => {
    const li = document.createElement('li');
    const words = [r.remark.cane ? t('choice.fate', { cane: r.remark.cane }) : '', r.remark.text || t('exercise.remark.onlyarrow')].filter(Boolean).join(': ');
    li.append(`${String.fromCharCode(65 + i)}${r.remark.to_px ? ' ↗' : ''} ${words} `, small(`${r.who}, ${day(r.when)}`));
    if (view.may_remark) {
      const b = Object.assign(document.createElement('button'), { type: 'button', textContent: t('exercise.remark.back') });
      b.addEventListener('click', () => change('remarks', { back: r.id }));
      li.append(' ', b);
    }
    return li;
  }));
  $('noremarks').hidden = view.remarks.length > 0;
}

function done() {
  $('done-box').hidden = !view.first || view.first.passed;
  $('done-form').hidden = !view.photos.length;
  $('done-shown').hidden = !view.done;
  if (view.done) {
    $('done-picture').src = view.done.picture;
    $('done-by').textContent = t('exercise.done.by', { who: view.done.who, when: day(view.done.when) });
    $('done-note').textContent = view.done.note;
    $('done-rows').tBodies[0].replaceChildren(...view.done.canes.map((d) => {
      const tr = document.createElement('tr');
      cell(tr, t('vine.cane'), Object.assign(document.createElement('strong'), { textContent: d.cane }));
      cell(tr, t('exercise.done.planned'), t(`exercise.fate.${d.planned}`));
      cell(tr, t('exercise.done.really'), d.done ? `${d.same ? '=' : '≠'} ${t(`exercise.fate.${d.done}`)}` : t('exercise.compare.nothing'));
      return tr;
    }));
  }
  if ($('done-photo').options.length) return;
  for (const p of view.photos) $('done-photo').append(new Option(p.words, p.id));
  for (const d of view.first?.choice.canes || []) {
    const field = Object.assign(document.createElement('div'), { className: 'field' });
    const select = Object.assign(document.createElement('select'), { id: `done-${d.cane}` });
    select.dataset.cane = d.cane;
    select.append(new Option(t('exercise.done.unsaid'), ''));
    for (const f of ['lay', 'spur', 'remove', 'other']) select.append(new Option(t(`exercise.fate.${f}`), f));
    field.append(Object.assign(document.createElement('label'), { htmlFor: select.id, textContent: `${t('choice.fate', { cane: d.cane })} (${t('value.of', { what: t('exercise.done.planned'), value: t(`exercise.fate.${d.fate}`) })})` }), select);
    $('done-canes').append(field);
  }
}

function show() {
  table();
  remarks();
  done();
  $('earlier-box').hidden = !view.earlier.length;
  $('earlier').replaceChildren(...view.earlier.map((e) => {
    const li = document.createElement('li');
    li.append(t('exercise.earlier.line', { n: e.attempt, when: day(e.when), withdrawn: day(e.withdrawn) }), ...(e.why ? [` ${e.why}`] : []), document.createElement('br'),
      small(e.choice.canes.map((d) => `${d.cane} ${decisionWords(d, form)}`).join('; ')));
    return li;
  }));
  draw();
}

async function change(what, body) {
  $('fault').textContent = '';
  try {
    view = await post(`${root.dataset.address}/${what}${query}`, body);
    show();
    return true;
  } catch (e) {
    $('fault').textContent = e.message;
    $('fault').scrollIntoView({ block: 'nearest' });
    return false;
  }
}

$('ask').addEventListener('click', async () => {
  $('fault').textContent = '';
  try {
    program = await get(`${root.dataset.address}/suggestion${query}`);
    $('program-note').textContent = t('exercise.program.note', { program: program.program, rules: program.rule_set, who: names.first });
    $('program-note').hidden = false;
    $('ask').disabled = true;
    fill($('left-whose'), 'first');
    fill($('right-whose'), 'second');
    show();
  } catch (e) { $('fault').textContent = e.message; }
});

// A word, with an arrow or without: tail and tip are tapped on the photo.
if (view.may_remark) {
  $('remark-cane').append(new Option(t('exercise.remark.nocane'), 0), ...view.shown.canes.map((c) => new Option(t('choice.fate', { cane: c.id }), c.id)));
  const tell = (k) => { $('arrow-text').textContent = k ? t(k) : ''; };
  $('arrow').addEventListener('click', () => {
    drawing = !drawing;
    tail = arrow = null;
    $('arrow').textContent = t(drawing ? 'exercise.remark.cancel' : 'exercise.remark.arrow');
    tell(drawing ? 'exercise.remark.tail' : '');
    if (drawing) { stage.root.focus(); stage.root.scrollIntoView({ block: 'nearest' }); }
    draw();
  });
  stage.onTap = (p) => {
    if (!drawing) return;
    if (!tail) { tail = [p.x, p.y]; tell('exercise.remark.tip'); } else {
      arrow = { from: tail, to: [p.x, p.y] };
      tail = null;
      drawing = false;
      $('arrow').textContent = t('exercise.remark.arrow');
      tell('exercise.remark.drawn');
      $('remark-text').focus();
    }
    draw();
  };
  $('remark').addEventListener('click', async () => {
    const remark = { text: $('remark-text').value.trim() };
    const cane = Number($('remark-cane').value);
    if (cane) remark.cane = cane;
    if (arrow) { remark.from_px = arrow.from; remark.to_px = arrow.to; }
    if (await change('remarks', { remark })) {
      $('remark-text').value = '';
      arrow = null;
      tell('');
      draw();
    }
  });
}
$('done').addEventListener('click', async () => {
  const canes = [...document.querySelectorAll('#done-canes select')].filter((s) => s.value).map((s) => ({ cane: Number(s.dataset.cane), fate: s.value }));
  if (await change('done', { photo: Number($('done-photo').value), done: { canes, note: $('done-words').value } })) $('done-box').open = false;
});

fill($('left-whose'), 'first');
fill($('right-whose'), 'second');
for (const s of ['left-whose', 'right-whose']) $(s).addEventListener('change', draw);
stage.onView = draw;
show();
stage.root.dataset.ready = 'yes';

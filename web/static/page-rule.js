// The page on which a person rules on the findings of one photo, one cane
// after another. Everything that is computed (internodes, diameters, findings
// after a correction) comes from the service.
import './last.js';
import { get, post, key, keepAnswer } from './net.js';
import { all as allWork, change as changeWork, drop, hear, keep, Closed, Full } from './waiting.js';
import { kick, person } from './sender.js';
import { signInAgain } from './again.js';
import { t, interval, number, day, said, inches, typed, byHand, placeStep, placeField, placeTyped } from './text.js';
import { Stage, svg, nearest, placeAt } from './stage.js';
import { drawCanes, sample, sortOf, sorts, box } from './canes.js';
import { Drafts } from './drafts.js';

const $ = (id) => document.getElementById(id);
const address = `/api/measurements/${$('rule').dataset.measurement}`;
let view = await get(address).catch((e) => {
  // This phone keeps the page, but not what it shows.
  $('fault').textContent = e.message;
  throw e;
});
const may = { choose: 'mayChoose' in $('rule').dataset };
const group = `measurement ${view.id}`;
// What was saved here and hasn't reached the service yet, the first first.
let waiting = await mine();
const waitingSeq = () => view.seq + waiting.reduce((n, w) => n + w.body.rulings.length, 0);
const drafts = await Drafts.of(view.id, waitingSeq());
// A page that was ended between keeping and clearing has both.
if (waiting.some((w) => JSON.stringify(w.body.rulings) === JSON.stringify(drafts.list()))) drafts.clear(waitingSeq());
const stage = new Stage($('stage'), { width: view.seen.width_px, height: view.seen.height_px, medium: view.medium, full: view.full });
let chosen = null; // number of the cane in hand
let editing = false;
let picked = -1; // node in hand
let pointing = null; // {base} while a missed cane is pointed out
let pulling = null; // {from} while a cane's line is pulled; from once a place of it is picked
const pulls = {}; // trace -> places that its line was pulled to, from base to tip
let seconds = await waitingSeconds(); // second photos that wait in this phone
const derived = {}; // cane -> what the service made of its draft
let saveKey = key();
let going = null; // {id, on}: what is being saved, and whether the choice comes then
let revising = false; // all is ruled on, and a cane is looked at again

async function mine() {
  const list = await allWork().catch(() => []);
  return list.filter((w) => w.kind === 'rulings' && w.group === group && w.who === person());
}

async function waitingSeconds() {
  const list = await allWork().catch(() => []);
  return list.filter((w) => w.kind === 'photo' && w.state !== 'held' && w.path === `/api/photos/${view.photo}/second`).length;
}

// waitingFor is what was said last of a cane and still waits.
function waitingFor(id) {
  for (const w of waiting.toReversed()) {
    const r = w.body.rulings.findLast((x) => x.cane === id);
    if (r) return r;
  }
  return null;
}

// rows lists the canes with what stands of each: the draft above what is
// saved, and that above what the program said.
function rows() {
  const list = [...view.seen.canes];
  for (const c of view.confirmed) if (c.added && !list.some((o) => o.id === c.cane.id)) list.push(c.cane);
  for (const r of view.rulings) if (r.missed && !list.some((o) => o.id === r.cane)) list.push(r.missed);
  for (const w of waiting) for (const c of Object.values(w.missed || {})) if (!list.some((o) => o.id === c.id)) list.push(c);
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
    row.waits = waitingFor(seen.id);
    const said = row.draft || row.waits;
    if (said) {
      row.said = said.said;
      row.gone = row.said === 'reject' || said.kind === 'not_a_cane';
      row.kind = said.kind || '';
      // Until the service has answered, only the nodes' places are new.
      row.cane = said.said === 'correct' ? { ...(derived[seen.id] || seen) } : seen;
      if (said.nodes) row.cane.nodes = said.nodes;
    }
    row.ruled = Boolean(said || row.saved);
    // What stands of the cane: a hand's measure stands above the photo's.
    row.last = said || row.saved;
    return row;
  });
}

const rowOf = (id) => rows().find((r) => r.cane.id === id);

function show() {
  const all = rows();
  const row = all.find((r) => r.cane.id === chosen) || null;
  $('cane').hidden = !row;
  $('edit').hidden = $('editing').hidden = !row || !editing;
  $('none').hidden = all.length > 0;
  $('previous').disabled = $('next').disabled = all.length < 2;
  const done = all.filter((r) => r.ruled).length;
  const finished = all.length > 0 && done === all.length && !revising && !editing;
  $('acts').hidden = !row || editing || finished;
  $('left').textContent = all.length ? (done === all.length ? t('rule.allruled') : t('rule.left', { n: done, all: all.length })) : '';
  const n = drafts.count;
  $('save').disabled = n === 0;
  $('save').textContent = n ? t('rule.save', { n }) : t('rule.save.none');
  $('undo').disabled = drafts.steps.length === 0;
  // What comes next is one large button, as soon as there is nothing else to say.
  $('onward').hidden = !finished || !may.choose || !(n || (view.confirmed.length && !waiting.length));
  $('onward').textContent = n ? t('rule.save.on', { n }) : t('rule.choice');
  $('onward').disabled = Boolean(going);
  $('revise').hidden = !finished;
  // The large button is the same way on: told once, the cane keeps the room.
  $('after').hidden = !(view.confirmed.length > 0 && n === 0 && !waiting.length) || !$('onward').hidden;
  showStances(finished);
  if (row) showCane(row, all);
  else $('cane-title').textContent = $('state').textContent = '';
  draw();
}

// showStances tells from how many places the vine was seen, or why the second
// photo wasn't used, and offers one where that can help.
function showStances(finished) {
  const { used, why, takes, picture, helps } = view.second;
  const text = seconds ? t('second.waits') : used ? t('second.used') : '';
  $('stances').hidden = !text && !picture;
  $('stances-text').textContent = text;
  $('stances-picture').hidden = !picture || Boolean(seconds);
  if (picture) $('stances-picture').href = picture;
  $('unused').hidden = !why || Boolean(seconds);
  $('unused-short').textContent = why ? t(`second.short.${view.second.reason}`) : '';
  $('unused-why').textContent = why ? said(view, why) : '';
  // Where a cane says it by itself, it isn't said twice.
  $('quiet').hidden = !takes || Boolean(seconds) || editing || (!finished && helps.some((h) => h.cane === chosen));
}

function showCane(row, all) {
  $('cane-title').textContent = t('rule.title', { n: row.cane.id, all: all.length });
  const drafted = row.draft && t(`rule.draft.${row.draft.said}`);
  $('state').textContent = row.draft ? t('rule.state.draft', { said: drafted })
    : row.waits ? t('rule.state.waits', { said: t(`rule.draft.${row.waits.said}`) })
    : row.saved ? t('rule.state.saved', { said: t(`said.${row.saved.said}`), who: row.saved.who, when: day(row.saved.when) })
      : t('rule.state.open');
  const sort = sortOf(row);
  sample($('sample'), sort);
  $('whose').textContent = row.said === 'correct' ? t('rule.corrected') : t('rule.program');
  $('finding').textContent = row.gone && row.said === 'reject' ? t('rule.draft.reject')
    : row.gone ? t('kind.not_a_cane') : row.kind === 'old_wood' ? t('kind.old_wood') : t(`finding.${row.cane.finding || ''}`);
  const hand = row.last && (row.last.diameter_mm_by_hand || row.last.diameter_in_by_hand);
  $('v-diameter').textContent = interval(row.cane.diameter_mm, 1);
  $('hand').hidden = !hand;
  $('hand').textContent = hand ? t(row.saved && row.last === row.saved ? 'rule.hand.saved' : 'rule.hand', { mm: byHand(row.last.diameter_mm_by_hand, row.last.diameter_in_by_hand), who: row.saved?.who || person(), when: row.saved ? day(row.saved.when) : '' }) : '';
  $('v-internode').textContent = interval(row.cane.internode_mm, 0);
  $('v-length').textContent = interval(row.cane.length_mm, 0) + (row.cane.leaves_frame ? ` (${t('rule.leaves')})` : '');
  $('v-nodes').textContent = row.cane.nodes.length;
  const deep = view.second.depths.find((d) => d.cane === row.seen.id);
  $('deep').hidden = !deep;
  $('deep').textContent = deep ? said(view, deep.say) : '';
  const earlier = row.ruled ? null : view.second.earlier.findLast((e) => e.cane === row.seen.id);
  $('earlier').hidden = !earlier;
  $('earlier').textContent = earlier ? t('second.earlier', { who: earlier.who, said: t(`said.${earlier.said}`), was: t(`finding.${earlier.finding || ''}`) }) : '';
  const open = row.cane.finding === 'too_close_to_call' && !hand;
  const help = open && !seconds && view.second.helps.find((h) => h.cane === row.seen.id);
  $('helps').hidden = !help;
  $('helps-text').textContent = help ? t(help.edges ? 'second.helps.edges' : help.settles ? 'second.helps.settle' : 'second.helps.narrow', {
    at: t(`second.at.${help.at.height}.${help.at.side}`), step: t(`second.step.${view.second.step}`), mm: interval(help.diameter_mm, 1),
  }) : '';
  const closer = !help && view.closer.find((x) => x.cane === row.seen.id && row.cane.finding === 'too_close_to_call' && !hand);
  $('closer').hidden = !closer;
  $('closer-text').textContent = closer ? t(closer.finding === 'too_close_to_call' ? 'rule.closer.half' : 'rule.closer.settle', { mm: interval(closer.diameter_mm, 1) }) : '';
  $('because').replaceChildren(...(row.cane.because || []).map((b) => Object.assign(document.createElement('li'), { textContent: said(view, b) })));
  $('had').textContent = row.said === 'correct' && !drafts.missed[row.seen.id] && !row.saved?.missed
    ? t('rule.seen', { finding: `${t(`finding.${row.seen.finding || ''}`)}, ${interval(row.seen.diameter_mm, 1)}, ${row.seen.nodes.length} ${t('rule.nodes').toLowerCase()}` }) : '';
  $('agree').setAttribute('aria-pressed', String(row.draft?.said === 'agree'));
  $('reject').setAttribute('aria-pressed', String(row.draft?.said === 'reject'));
  $('correct').setAttribute('aria-expanded', String(editing));
  if (!editing) return;
  const d = row.draft?.said === 'correct' ? row.draft : row.draft ? {} : savedCorrection(row);
  for (const b of $('is').children) b.setAttribute('aria-pressed', String((d.kind || '') === b.dataset.kind));
  $('own').value = d.finding || '';
  if (document.activeElement !== $('byhand')) $('byhand').value = typed(d.diameter_mm_by_hand, d.diameter_in_by_hand);
  if (document.activeElement !== $('note')) $('note').value = d.note || '';
  const node = row.cane.nodes[picked];
  $('delete-node').disabled = !node;
  $('delete-node').textContent = node ? t('rule.edit.remove', { n: picked + 1 }) : t('rule.edit.pick');
  listNodes(row);
}

function draw() {
  drawCanes(stage, view.seen, rows(), chosen, editing, picked);
  if (pulling) {
    const r = stage.px(16);
    const { x, y } = stage.view;
    if (pulling.from) stage.layer.append(svg('circle', { class: 'cross', cx: pulling.from.px[0], cy: pulling.from.px[1], r: stage.px(9) }));
    if (document.activeElement === stage.root) stage.layer.append(svg('path', { class: 'cross', d: `M${x - r} ${y}H${x + r}M${x} ${y - r}V${y + r}` }));
  }
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
  const next = [...all.slice(i + 1), ...all.slice(0, i)].find((r) => !r.ruled);
  editing = revising = false;
  if (next) choose(next.cane.id);
  else {
    picked = -1;
    stage.whole();
    show();
    $($('onward').hidden ? 'save' : 'onward').focus();
  }
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
    const says = ['kind', 'finding', 'nodes', 'diameter_mm_by_hand', 'diameter_in_by_hand', 'trace'].some((k) => d[k] !== undefined);
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
  for (const k of ['kind', 'finding', 'nodes', 'diameter_mm_by_hand', 'note', 'trace']) if (s[k]) d[k] = structuredClone(s[k]);
  return d;
}

// derive asks the service what the corrected cane is; the last question wins.
const asked = {};
async function derive(id) {
  const d = drafts.said[id] || waitingFor(id);
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
    // Without signal only the numbers are missing, and they come with it.
    if (asked[id] === n) $('fault').textContent = e.status === 0 ? t('rule.later') : e.message;
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
    const input = Object.assign(document.createElement('input'), { id: `node-${i}`, type: 'number', inputMode: 'decimal', step: String(placeStep), min: '0', value: placeField(n.along_mm) });
    input.addEventListener('change', () => { const v = placeTyped(input.value); input.blur(); moveNode(i, v); });
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
  if (pulling) {
    if (pulling.busy) return;
    if (pulling.from) { pull([place.x, place.y]); return; }
    pulling.from = pullable(place);
    banner(pulling.from ? t('rule.pull.to') : `${t('rule.pull.how')} ${t('rule.missed.keys')}`);
    draw();
    return;
  }
  if (editing) { tapNode(place); return; }
  const id = Number(target.dataset?.cane);
  if (id) { revising = true; choose(id, false); }
};
stage.onGrab = (place) => {
  if (!editing || pointing) return null;
  const row = rowOf(chosen);
  if (pulling) {
    if (pulling.busy || pulling.from) return null;
    const from = pullable(place);
    if (!from) return null;
    return {
      move: (p) => { pulling.from = from; showPull([p.x, p.y]); },
      end: (p) => {
        if (p) pull([p.x, p.y]);
        else { pulling.from = from; banner(t('rule.pull.to')); draw(); } // a tap picks the place
      },
    };
  }
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
    end: (p) => { if (p) moveNode(i, along); else tapNode(place); },
  };
};

// tapNode picks the node that is tapped, or adds one between two: however close
// they stand on a small screen, the middle between them is a place of its own.
function tapNode(place) {
  const row = rowOf(chosen);
  const i = nodeNear(row, place);
  const { px } = row.cane.nodes[i] || {};
  const gap = px ? Math.min(...row.cane.nodes.filter((n, k) => k !== i).map((n) => Math.hypot(n.px[0] - px[0], n.px[1] - px[1]))) : 0;
  if (px && Math.hypot(px[0] - place.x, px[1] - place.y) < Math.min(stage.px(REACH), 0.35 * gap)) {
    picked = i;
    show();
    return;
  }
  const at = nearest(row.cane, place);
  if (at.away < stage.px(REACH)) addNode(at.along);
  else { picked = -1; show(); }
}

function nodeNear(row, place) {
  let best = -1;
  let away = stage.px(REACH);
  row.cane.nodes.forEach((n, i) => {
    const d = Math.hypot(n.px[0] - place.x, n.px[1] - place.y);
    if (d < away) { best = i; away = d; }
  });
  return best;
}

// A line is pulled to where the cane runs: by dragging, or by a tap on the line
// and one where it belongs; near its ends base or tip is moved. The service
// follows the cane anew through that place.
const END = 0.12; // share of the line that counts as its end

function pullable(place) {
  const { cane } = rowOf(chosen);
  const at = nearest(cane, place);
  if (at.away > stage.px(REACH)) return null;
  const share = at.along / (cane.along_mm.at(-1) || 1);
  return { ...at, end: share < END ? 'base' : share > 1 - END ? 'tip' : '' };
}

// bent is the line as it is meant, roughly, while a finger pulls it.
function bent(from, to) {
  const line = rowOf(chosen).cane.centre_line_px;
  const ends = { base: [to, line.at(-1)], tip: [line[0], to] };
  return ends[from.end] || [line[0], to, line.at(-1)];
}

function showPull(to) {
  stage.layer.querySelector('.pull')?.remove();
  const d = bent(pulling.from, to).map(([x, y]) => `${x} ${y}`).join('L');
  stage.layer.append(svg('path', { class: 'pull', d: `M${d}` }));
}

async function pull(to) {
  const { cane } = rowOf(chosen);
  const { from } = pulling;
  const [base, tip] = [from.end === 'base' ? to : cane.centre_line_px[0], from.end === 'tip' ? to : cane.centre_line_px.at(-1)];
  const via = [...(pulls[drafts.said[chosen]?.trace] || [])];
  if (!from.end) via.push({ along: from.along, px: to });
  via.sort((a, b) => a.along - b.along);
  pulling.busy = true;
  banner(t('rule.missed.tracing'));
  try {
    const answer = await post(`${address}/guide`, { base, tip, via: via.map((v) => v.px) });
    pulling = null;
    banner('');
    const added = drafts.missed[chosen]; // one that no ruling added yet is pointed out anew
    const was = chosen;
    drafts.change(chosen, (all, missed) => {
      const before = all[was]?.said === 'correct' ? all[was] : {};
      const d = { ...before, cane: was, said: 'correct', trace: answer.trace };
      delete d.nodes; // they were places on the line before
      if (added) {
        delete all[was];
        delete missed[was];
        d.cane = answer.cane.id;
        missed[d.cane] = answer.cane;
      }
      all[d.cane] = d;
    });
    const now = added ? answer.cane.id : was;
    pulls[answer.trace] = via;
    if (!added) derived[now] = { ...answer.cane, id: now };
    chosen = now;
    await derive(now);
    choose(now);
  } catch (e) {
    pulling = null;
    banner('');
    $('fault').textContent = e.status === 0 ? t('rule.needsignal') : e.message;
    show();
  }
}

$('pull').addEventListener('click', () => {
  pulling = { from: null };
  picked = -1;
  banner(`${t('rule.pull.how')} ${t('rule.missed.keys')}`);
  show();
  stage.root.focus({ preventScroll: true });
});

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
    $('fault').textContent = e.status === 0 ? t('rule.needsignal') : e.message;
    show();
  });
}

function banner(text, passing = false) {
  $('banner').hidden = !text;
  $('banner-text').textContent = text;
  $('banner-cancel').hidden = passing;
}

function stopPointing() { pointing = pulling = null; banner(''); }

// save keeps what was said in this phone, and has it sent; on then goes to the
// choice.
async function save(on = false) {
  if (!drafts.count || going) return;
  $('fault').textContent = '';
  const work = {
    kind: 'rulings', path: `${address}/rulings`, body: { after: drafts.seq, rulings: drafts.list() }, key: saveKey,
    who: person(), where: document.querySelector('h1').textContent, page: location.pathname, group, missed: structuredClone(drafts.missed),
  };
  try {
    going = { id: await keep(work), on };
  } catch (e) {
    if (!(e instanceof Full || e instanceof Closed)) throw e;
    await straight(work, on);
    return;
  }
  drafts.clear(drafts.seq + work.body.rulings.length);
  saveKey = key();
  editing = revising = false;
  waiting = await mine();
  show();
  kick();
}

// straight saves where this browser keeps nothing.
async function straight(work, on) {
  try {
    const answer = await post(work.path, work.body, work.key);
    drafts.clear(answer.seq);
    saveKey = key();
    await saved(answer, on);
  } catch (e) {
    if (e.code === 'conflict' && e.now?.rulings) conflict(e.now, null);
    else $('fault').textContent = e.message;
    show();
  }
}

async function saved(answer, on) {
  view = answer;
  waiting = await mine();
  if (!drafts.count) drafts.clear(waitingSeq());
  await keepAnswer(address, view);
  if (on && !waiting.length && view.confirmed.length) {
    location.assign($('to-choice').href);
    return;
  }
  banner(t('rule.saved', { who: person() }), true);
  window.scrollTo(0, 0);
  $('banner').parentElement.scrollTop = 0;
  show();
}

hear(async (news) => {
  if (news.sent && news.answer?.second_of === view.photo) { location.reload(); return; }
  const id = news.sent || news.stuck;
  const own = id && (going?.id === id || waiting.some((w) => w.id === id));
  if (news.sent && own) {
    const on = going?.id === id && going.on;
    going = null;
    await saved(news.answer, on);
  } else if (news.stuck && own) {
    going = null;
    waiting = await mine();
    await unstick();
  } else if (news.wait && waiting.length) {
    going = null;
    banner(t(news.wait === 'signin' ? 'wait.signin' : 'rule.kept'), true);
    show();
    if (news.wait === 'signin' && navigator.onLine && !document.getElementById('again').open && await signInAgain()) kick();
  }
});

// unstick asks what becomes of rulings that the service didn't take: after
// somebody else's, or back to where they can be changed.
async function unstick() {
  const work = waiting.find((w) => w.state === 'stuck');
  if (!work) return;
  if (work.fault.code === 'conflict') {
    // What is there now, since more may have come.
    const now = await get(address).catch(() => work.fault.now);
    if (now?.rulings) { conflict(now, work); return; }
  }
  await drop(work.id);
  waiting = await mine();
  drafts.change(chosen, (said, missed) => {
    for (const r of work.body.rulings) said[r.cane] ??= r;
    Object.assign(missed, work.missed);
  });
  drafts.seq = work.body.after;
  drafts.keep();
  $('fault').textContent = work.fault.message;
  show();
}

// Somebody else saved first: show what, and ask. work is what waits, null when
// it is still a draft.
function conflict(now, work) {
  const theirs = now.rulings.slice(work ? work.body.after : drafts.seq);
  $('conflict-list').replaceChildren(...theirs.map((r) => Object.assign(document.createElement('li'), {
    textContent: t('rule.conflict.line', { cane: r.cane, said: t(`said.${r.missed ? 'added' : r.said}`), who: r.who }),
  })));
  $('conflict-theirs').onclick = async () => {
    $('conflict').close();
    for (const w of await mine()) await drop(w.id);
    waiting = [];
    view = await get(address);
    drafts.clear(view.seq);
    saveKey = key();
    choose(chosen);
  };
  $('conflict-mine').onclick = async () => {
    $('conflict').close();
    saveKey = key();
    if (!work) {
      drafts.seq = now.seq;
      drafts.keep();
      await save();
      return;
    }
    // All of it comes after theirs, still in order.
    let after = now.seq;
    view = now.seen ? now : view;
    for (const w of await mine()) {
      await changeWork(w.id, { state: 'ready', fault: null, key: key(), body: { ...w.body, after } });
      after += w.body.rulings.length;
    }
    waiting = await mine();
    going = { id: work.id };
    if (drafts.count) { drafts.seq = after; drafts.keep(); }
    kick();
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
for (const a of document.querySelectorAll('.one-more')) {
  a.href = view.second.page;
  // What was said so far is of this measurement: it goes first.
  a.addEventListener('click', async (e) => {
    if (!drafts.count || going) return;
    e.preventDefault();
    await save();
    location.assign(a.href);
  });
}
$('previous').addEventListener('click', () => { revising = true; step(-1); });
$('next').addEventListener('click', () => { revising = true; step(1); });
$('agree').addEventListener('click', () => (rowOf(chosen).draft?.said === 'correct' ? toNext() : say('agree')));
$('reject').addEventListener('click', () => say('reject'));
$('correct').addEventListener('click', () => { editing = true; choose(chosen); });
$('done').addEventListener('click', () => { editing = false; pulling = null; picked = -1; banner(''); show(); $('agree').focus(); });
$('delete-node').addEventListener('click', () => deleteNode(picked));
for (const b of $('is').children) {
  b.addEventListener('click', () => correct((d) => {
    d.kind = b.dataset.kind;
    if (d.kind) delete d.finding;
  }));
}
$('own').addEventListener('change', (e) => correct((d) => {
  d.finding = e.target.value;
  if (d.finding) delete d.kind;
}));
$('byhand').addEventListener('change', (e) => correct((d) => {
  delete d.diameter_mm_by_hand;
  delete d.diameter_in_by_hand;
  d[inches ? 'diameter_in_by_hand' : 'diameter_mm_by_hand'] = Number(e.target.value) || 0;
}));
$('note').addEventListener('change', (e) => correct((d) => { d.note = e.target.value.trim(); }));
$('add').addEventListener('click', () => { if ($('addat').value !== '') { addNode(placeTyped($('addat').value)); $('addat').value = ''; } });
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
$('save').addEventListener('click', () => save());
$('onward').addEventListener('click', () => {
  if (drafts.count) save(true);
  else location.assign($('to-choice').href);
});
$('revise').addEventListener('click', () => { revising = true; choose(chosen); });

const first = rows().find((r) => !r.ruled) || rows()[0];
for (const id of new Set([...Object.keys(drafts.said), ...waiting.flatMap((w) => w.body.rulings.map((r) => r.cane))])) derive(Number(id));
if (first) choose(first.cane.id);
else show();
if (waiting.length) banner(t('rule.kept'), true);
unstick();
stage.root.dataset.ready = 'yes';

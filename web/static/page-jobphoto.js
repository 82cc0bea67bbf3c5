// One photo of a job with its canes, and what a person says of a drawn one.
import { get, post } from './net.js';
import { t, interval, length, said } from './text.js';
import { Stage } from './stage.js';
import { drawCanes, sample, sortOf, box } from './canes.js';

const $ = (id) => document.getElementById(id);
const d = $('jobphoto').dataset;
const address = `/api/jobs/${d.job}`;
let seen = null;
let chosen = Number(d.cane) || 0;
let stage = null;
let drawn = []; // the sample

// What was drawn of the cane at hand, if it was.
const mine = () => drawn.find((c) => c.photo === d.path && c.cane === chosen);

const rows = () => seen.canes.map((cane) => ({ cane, kind: '', gone: false, said: drawn.find((c) => c.photo === d.path && c.cane === cane.id)?.said || '' }));

function show(fit) {
  const all = rows();
  const i = all.findIndex((r) => r.cane.id === chosen);
  const row = all[i] || null;
  $('previous').disabled = $('following').disabled = all.length < 2;
  if (!row) {
    $('title').textContent = seen.outcome === 'refused' ? t('job.outcome.refused') : t('jobphoto.none');
    $('because').replaceChildren(...(seen.advice || []).map((a) => Object.assign(document.createElement('li'), { textContent: said(seen, a) })));
    drawCanes(stage, seen, all, 0, false, -1);
    return;
  }
  $('title').textContent = t('jobphoto.cane', { n: row.cane.id, all: all.length });
  sample($('sample'), sortOf(row));
  $('finding').textContent = t(`finding.${row.cane.finding || ''}`);
  $('v-diameter').textContent = interval(row.cane.diameter_mm, 1);
  $('v-internode').textContent = interval(row.cane.internode_mm, 0);
  $('v-length').textContent = interval(row.cane.length_mm, 0);
  $('v-nodes').textContent = row.cane.nodes.length;
  const depth = row.cane.depth_mm;
  $('n-depth').hidden = $('v-depth').hidden = !depth;
  $('v-depth').textContent = depth ? t('value.interval', { value: length(depth.value, 0, true), low: length(depth.low, 0, true), high: length(depth.high, 0, true) }) : '';
  $('because').replaceChildren(...(row.cane.because || []).map((b) => Object.assign(document.createElement('li'), { textContent: said(seen, b) })));
  const own = mine();
  $('says').hidden = $('notefield').hidden = !own;
  if (own) {
    $('saidby').textContent = own.said ? t('jobphoto.saidby', { said: t(`said.${own.said}`), who: own.who || '' }) : t('jobphoto.unsaid');
    for (const b of document.querySelectorAll('[data-said]')) b.setAttribute('aria-pressed', String(b.dataset.said === own.said));
    const next = drawn.find((c) => !c.said && !(c.photo === d.path && c.cane === chosen));
    $('another').hidden = !next;
    if (next) $('another').href = `/jobs/${d.job}/photo?path=${encodeURIComponent(next.photo)}&cane=${next.cane}&sample=1`;
  }
  if (fit) stage.fit(...box(row.cane));
  drawCanes(stage, seen, all, chosen, false, -1);
}

function step(by) {
  const i = seen.canes.findIndex((c) => c.id === chosen);
  chosen = seen.canes[(i + by + seen.canes.length) % seen.canes.length].id;
  show(true);
}

$('previous').addEventListener('click', () => step(-1));
$('following').addEventListener('click', () => step(1));
for (const b of document.querySelectorAll('[data-said]')) {
  b.addEventListener('click', async () => {
    $('fault').textContent = '';
    try {
      await post(`${address}/checks`, { sha256: seen.sha256, with_sha256: mine()?.with_sha256, cane: chosen, said: b.dataset.said, note: $('note').value });
      drawn = (await get(`${address}/sample`)).canes;
      $('note').value = '';
      show(false);
      $('another').focus();
    } catch (e) { $('fault').textContent = e.message; }
  });
}

try {
  [seen, { canes: drawn }] = await Promise.all([get(`${address}/measurement?path=${encodeURIComponent(d.path)}`), get(`${address}/sample`)]);
  stage = new Stage($('stage'), { width: seen.width_px, height: seen.height_px, medium: d.medium, full: d.full });
  stage.onView = () => show(false);
  stage.onTap = (place) => {
    const hit = document.elementFromPoint(place.clientX, place.clientY)?.dataset?.cane;
    if (hit) { chosen = Number(hit); show(false); }
  };
  $('picture').addEventListener('click', (e) => { if (e.target.dataset.cane) { chosen = Number(e.target.dataset.cane); show(false); } });
  if (!chosen && seen.canes.length) chosen = seen.canes[0].id;
  show(Boolean(d.cane));
} catch (e) { $('fault').textContent = e.message; }

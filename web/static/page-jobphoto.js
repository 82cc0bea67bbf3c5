// One photo of a job with its canes, and what a person says of a drawn one.
import { get, post } from './net.js';
import { t, interval, said } from './text.js';
import { Stage } from './stage.js';
import { drawCanes, sample, sortOf, box } from './canes.js';

const $ = (id) => document.getElementById(id);
const d = $('jobphoto').dataset;
const address = `/api/jobs/${d.job}`;
let seen = null;
let chosen = Number(d.cane) || 0;
let stage = null;
let drawn = []; // the sample

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
  $('because').replaceChildren(...(row.cane.because || []).map((b) => Object.assign(document.createElement('li'), { textContent: said(seen, b) })));
  const mine = drawn.find((c) => c.photo === d.path && c.cane === chosen);
  $('says').hidden = $('notefield').hidden = !mine;
  if (mine) {
    $('saidby').textContent = mine.said ? t('jobphoto.saidby', { said: t(`said.${mine.said}`), who: mine.who || '' }) : t('jobphoto.unsaid');
    for (const b of document.querySelectorAll('[data-said]')) b.setAttribute('aria-pressed', String(b.dataset.said === mine.said));
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
      await post(`${address}/checks`, { sha256: seen.sha256, cane: chosen, said: b.dataset.said, note: $('note').value });
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

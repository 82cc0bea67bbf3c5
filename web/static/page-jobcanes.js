// All canes of a job: a table that stays smooth with a hundred thousand rows,
// and plots in which rows are selected by drawing a box or a span.
import { get } from './net.js';
import { t, inReader, interval, length, number } from './text.js';

const $ = (id) => document.getElementById(id);
const { job, photo } = $('jobcanes').dataset;

// Columns in their order: name, decimals (null for a text), width in rem.
const columns = [
  ['photo', null, 13], ['block', null, 7], ['row', 0, 4], ['vine', 0, 4], ['stance', null, 6.5], ['treatment', null, 8], ['cane', 0, 4],
  ['diameter_mm', 1, 13], ['internode_mm', 0, 12], ['length_mm', 0, 6], ['depth_mm', 0, 13], ['nodes', 0, 5], ['finding', null, 11],
];
const ROW = 48; // px: rows have one height, so where each stands is known without the others

let data = null;
let shown = []; // indices of the rows, as they stand
let sort = { name: 'photo', down: false };
let picked = null; // what was drawn in a plot: {x: [from, to], y: [from, to]} by column
const rank = {}; // of the texts of a column, by their alphabet

const textOf = (name, i) => data.texts[name][data.columns[name][i]];

function prepare() {
  for (const [name, decimals] of columns) {
    if (decimals !== null) continue;
    const order = data.texts[name].map((_, k) => k).sort((a, b) => data.texts[name][a].localeCompare(data.texts[name][b], undefined, { numeric: true }));
    rank[name] = new Float64Array(order.length);
    order.forEach((k, place) => { rank[name][k] = place; });
  }
}

// keyOf gives what a row is sorted by; what isn't known comes last.
function keyOf(name, i) {
  const v = data.columns[name][i];
  if (v === null) return Infinity;
  return rank[name] ? rank[name][v] : v;
}

function arrange() {
  const n = data.columns.cane.length;
  const find = $('find').value.trim().toLowerCase();
  const finding = $('finding').value;
  const block = $('block').value;
  const once = !$('oncefield').hidden && $('once').checked;
  const hits = find && data.texts.photo.map((p) => p.toLowerCase().includes(find));
  const { diameter_mm: ds, internode_mm: ls } = data.columns;
  const within = (v, span) => v !== null && v >= span[0] && v <= span[1];
  const list = [];
  for (let i = 0; i < n; i++) {
    if (hits && !hits[data.columns.photo[i]]) continue;
    if (finding && textOf('finding', i) !== finding) continue;
    if (once && textOf('counted', i) === 'FALSE') continue;
    if (block && textOf('block', i) !== block) continue;
    if (picked && !within(ds[i], picked.d)) continue;
    if (picked?.l && !within(ls[i], picked.l)) continue;
    list.push(i);
  }
  const keys = new Float64Array(n);
  for (const i of list) keys[i] = keyOf(sort.name, i);
  const sign = sort.down ? -1 : 1;
  list.sort((a, b) => {
    const [x, y] = [keys[a], keys[b]];
    if (x === y) return a - b;
    if (x === Infinity || y === Infinity) return x === Infinity ? 1 : -1;
    return sign * (x - y);
  });
  shown = list;
  $('space').style.height = `${Math.min(shown.length * ROW, TALLEST)}px`;
  $('grid').setAttribute('aria-rowcount', shown.length + 1);
  $('state').textContent = t('jobcanes.shown', { shown: shown.length, all: n });
  $('body').scrollTop = 0;
  drawRows();
  drawPlots();
}

// Browsers don't make an element taller than some tens of millions of pixels.
const TALLEST = 8e6;

function drawRows() {
  const body = $('body');
  const whole = shown.length * ROW;
  const high = Math.min(whole, TALLEST);
  const view = body.clientHeight;
  // Where the element is lower than its rows, scrolling goes in proportion.
  const share = high > view ? body.scrollTop / (high - view) : 0;
  const top = share * Math.max(0, whole - view);
  const from = Math.max(0, Math.floor(top / ROW) - 4);
  const to = Math.min(shown.length, Math.ceil((top + view) / ROW) + 4);
  const list = document.createDocumentFragment();
  for (let k = from; k < to; k++) {
    const i = shown[k];
    const row = document.createElement('div');
    row.className = 'gridrow';
    row.setAttribute('role', 'row');
    row.setAttribute('aria-rowindex', k + 2);
    row.style.transform = `translateY(${k * ROW - top + body.scrollTop}px)`;
    for (const [name, decimals, width] of columns) {
      const c = document.createElement('span');
      c.setAttribute('role', 'cell');
      c.style.width = `${width}rem`;
      const text = cellText(name, decimals, i);
      if (name === 'photo') {
        // The whole row leads to the cane on its photo.
        const a = Object.assign(document.createElement('a'), { textContent: text });
        a.href = `${photo}?path=${encodeURIComponent(textOf('photo', i))}&cane=${data.columns.cane[i]}`;
        c.append(a);
      } else c.textContent = text;
      row.append(c);
    }
    list.append(row);
  }
  $('rows').replaceChildren(list);
}

function cellText(name, decimals, i) {
  if (name === 'finding') return t(`finding.${textOf(name, i)}`);
  if (decimals === null) return textOf(name, i);
  const v = data.columns[name][i];
  if (v === null) return '–';
  if (name === 'depth_mm') return depthText(v, data.columns.depth_low_mm[i], data.columns.depth_high_mm[i]);
  if (!name.endsWith('_mm')) return number(v, decimals);
  const low = data.columns[name.replace('_mm', '_low_mm')];
  if (low && low[i] !== null) return interval({ value: v, low: low[i], high: data.columns[name.replace('_mm', '_high_mm')][i] }, decimals);
  return length(v, decimals, true);
}

// A distance from the wire may be negative, towards the camera.
const depthText = (v, low, high) => t('value.interval', { value: length(v, 0, true), low: length(low, 0, true), high: length(high, 0, true) });

function drawHead() {
  $('head').replaceChildren(...columns.map(([name, , width]) => {
    const cell = document.createElement('span');
    cell.style.width = `${width}rem`;
    cell.setAttribute('role', 'columnheader');
    cell.setAttribute('aria-sort', sort.name === name ? (sort.down ? 'descending' : 'ascending') : 'none');
    const b = document.createElement('button');
    b.type = 'button';
    b.textContent = t(`jobcanes.column.${name}`) + (sort.name === name ? (sort.down ? ' ▾' : ' ▴') : '');
    cell.append(b);
    b.addEventListener('click', () => {
      sort = { name, down: sort.name === name ? !sort.down : false };
      drawHead();
      arrange();
      $('head').children[columns.findIndex(([c]) => c === name)].firstChild.focus();
    });
    return cell;
  }));
}

// The plots: all canes faintly, the shown ones strongly.
const margin = { left: 46, right: 8, top: 8, bottom: 30 };
const range = {};

function setRanges() {
  for (const name of ['diameter_mm', 'internode_mm']) {
    const known = data.columns[name].filter((v) => v !== null);
    range[name] = [0, known.reduce((a, v) => Math.max(a, v), 1) * 1.03];
  }
}

// axes draws a plot's frame; what of x and y is a length is told in the reader's
// unit, which is per mm.
function axes(canvas, x, xTitle, y, yTitle, yLength = true) {
  const { per, decimals } = inReader();
  const g = canvas.getContext('2d');
  const ratio = window.devicePixelRatio || 1;
  const [w, h] = [canvas.clientWidth || 520, canvas.clientHeight || 260];
  if (canvas.width !== Math.round(w * ratio)) { canvas.width = Math.round(w * ratio); canvas.height = Math.round(h * ratio); }
  g.setTransform(ratio, 0, 0, ratio, 0, 0);
  g.clearRect(0, 0, w, h);
  g.lineWidth = 1;
  const px = (v) => margin.left + ((v - x[0]) / (x[1] - x[0])) * (w - margin.left - margin.right);
  const py = (v) => h - margin.bottom - ((v - y[0]) / (y[1] - y[0])) * (h - margin.top - margin.bottom);
  g.font = '12px system-ui, sans-serif';
  g.fillStyle = '#44525e';
  g.strokeStyle = '#c9d2d9';
  g.textAlign = 'center';
  for (const [v, text] of ticks(x, per, decimals)) { g.beginPath(); g.moveTo(px(v), py(y[0])); g.lineTo(px(v), py(y[1])); g.stroke(); g.fillText(text, px(v), h - 16); }
  g.textAlign = 'right';
  for (const [v, text] of ticks(y, yLength ? per : 1, yLength ? decimals : 0)) { g.beginPath(); g.moveTo(px(x[0]), py(v)); g.lineTo(px(x[1]), py(v)); g.stroke(); g.fillText(text, margin.left - 4, py(v) + 4); }
  g.textAlign = 'center';
  g.fillText(xTitle, (margin.left + w) / 2, h - 2);
  g.save(); g.translate(11, h / 2); g.rotate(-Math.PI / 2); g.fillText(yTitle, 0, 0); g.restore();
  return { g, px, py, w, h, back: (cx) => x[0] + ((cx - margin.left) / (w - margin.left - margin.right)) * (x[1] - x[0]), up: (cy) => y[0] + ((h - margin.bottom - cy) / (h - margin.top - margin.bottom)) * (y[1] - y[0]) };
}

// ticks are places of round numbers, with those; per of them make one.
function ticks([least, most], per, decimals) {
  const [from, to] = [least / per, most / per];
  const rough = (to - from) / 6;
  const power = 10 ** Math.floor(Math.log10(rough));
  // Never finer than what is written: no number stands there twice.
  const step = Math.max(10 ** -decimals, [1, 2, 5, 10].map((k) => k * power).find((s) => s >= rough));
  const out = [];
  for (let v = Math.ceil(from / step) * step; v <= to; v += step) out.push([v * per, number(v, decimals)]);
  return out;
}

let scatter = null;
let histogram = null;
const BARS = 60;

function drawPlots() {
  const { diameter_mm: ds, internode_mm: ls } = data.columns;
  const mm = t('jobcanes.mm.diameter');
  scatter = axes($('scatter'), range.internode_mm, t('jobcanes.mm.internode'), range.diameter_mm, mm);
  const dot = (list, color, size) => {
    scatter.g.fillStyle = color;
    for (const i of list) if (ds[i] !== null && ls[i] !== null) scatter.g.fillRect(scatter.px(ls[i]) - size / 2, scatter.py(ds[i]) - size / 2, size, size);
  };
  const n = ds.length;
  if (shown.length < n) dot(Array.from({ length: n }, (_, i) => i), 'rgba(90,105,118,.18)', 1.5);
  dot(shown, shown.length > 20000 ? 'rgba(11,79,138,.25)' : 'rgba(11,79,138,.7)', shown.length > 5000 ? 1.5 : 3);
  const count = (list) => {
    const bars = new Float64Array(BARS);
    for (const i of list) if (ds[i] !== null) bars[Math.min(BARS - 1, Math.floor((ds[i] / range.diameter_mm[1]) * BARS))]++;
    return bars;
  };
  const all = count(ds.keys());
  const some = count(shown);
  histogram = axes($('histogram'), range.diameter_mm, mm, [0, Math.max(1, ...all) * 1.05], t('jobcanes.canes'), false);
  for (const [bars, color] of [[all, '#d5dde3'], [some, '#0b4f8a']]) {
    histogram.g.fillStyle = color;
    bars.forEach((v, k) => {
      const x0 = histogram.px((k * range.diameter_mm[1]) / BARS);
      const x1 = histogram.px(((k + 1) * range.diameter_mm[1]) / BARS);
      histogram.g.fillRect(x0, histogram.py(v), Math.max(1, x1 - x0 - 0.5), histogram.py(0) - histogram.py(v));
    });
  }
  if (picked) frame();
}

function frame() {
  for (const p of [scatter, histogram]) { p.g.strokeStyle = '#d55e00'; p.g.lineWidth = 2; }
  if (picked.l) {
    const { px, py, g } = scatter;
    g.strokeRect(px(picked.l[0]), py(picked.d[1]), px(picked.l[1]) - px(picked.l[0]), py(picked.d[0]) - py(picked.d[1]));
  }
  const { px, g, h } = histogram;
  g.strokeRect(px(picked.d[0]), margin.top, px(picked.d[1]) - px(picked.d[0]), h - margin.top - margin.bottom);
}

// A box drawn in a plot selects; a click clears.
function selectIn(canvas, plot, both) {
  let from = null;
  canvas.addEventListener('pointerdown', (e) => { from = [e.offsetX, e.offsetY]; canvas.setPointerCapture(e.pointerId); });
  canvas.addEventListener('pointermove', (e) => {
    if (!from) return;
    const p = plot();
    drawPlots();
    const g = plot().g;
    g.strokeStyle = '#d55e00';
    g.lineWidth = 2;
    g.strokeRect(from[0], both ? from[1] : margin.top, e.offsetX - from[0], both ? e.offsetY - from[1] : p.h - margin.top - margin.bottom);
  });
  canvas.addEventListener('pointerup', (e) => {
    if (!from) return;
    const p = plot();
    const a = from;
    from = null;
    if (Math.abs(e.offsetX - a[0]) < 4) picked = null;
    else {
      const span = (f, u, v) => [f(u), f(v)].sort((m, n) => m - n);
      $('from').value = $('to').value = '';
      picked = both ? { l: span(p.back, a[0], e.offsetX), d: span(p.up, a[1], e.offsetY) } : { d: span(p.back, a[0], e.offsetX) };
    }
    arrange();
  });
}

try {
  data = await get(`/api/jobs/${job}/canes`);
  prepare();
  setRanges();
  for (const [name, root] of [['finding', $('finding')], ['block', $('block')]]) {
    for (const text of [...data.texts[name]].sort()) {
      if (text) root.append(new Option(name === 'finding' ? t(`finding.${text}`) : text, text));
    }
  }
  $('oncefield').hidden = !data.texts.counted.includes('FALSE');
  drawHead();
  selectIn($('scatter'), () => scatter, true);
  selectIn($('histogram'), () => histogram, false);
  arrange();
  let waiting = 0;
  $('body').addEventListener('scroll', () => {
    $('head').style.transform = `translateX(${-$('body').scrollLeft}px)`;
    waiting ||= requestAnimationFrame(() => { waiting = 0; drawRows(); });
  });
  $('find').addEventListener('input', arrange);
  $('finding').addEventListener('change', arrange);
  $('block').addEventListener('change', arrange);
  $('once').addEventListener('change', arrange);
  // What a drawn span does, by the keyboard.
  for (const id of ['from', 'to']) {
    $(id).addEventListener('input', () => {
      const { per } = inReader();
      const at = (name, none) => ($(name).value === '' ? none : Number($(name).value) * per);
      picked = $('from').value === '' && $('to').value === '' ? null : { d: [at('from', 0), at('to', range.diameter_mm[1])] };
      arrange();
    });
  }
  $('clear').addEventListener('click', () => {
    picked = null;
    $('find').value = $('finding').value = $('block').value = $('from').value = $('to').value = '';
    $('once').checked = false;
    arrange();
  });
  new ResizeObserver(() => { drawRows(); drawPlots(); }).observe($('body'));
} catch (e) {
  $('fault').textContent = e.message;
  $('state').textContent = '';
}

import { Stage, svg } from './stage.js';
import { post, key } from './net.js';
import { t, inches } from './text.js';

const $ = (id) => document.getElementById(id);
const data = $('refused').dataset;
const stage = new Stage($('stage'), { width: Number(data.width), height: Number(data.height), medium: data.medium, full: data.full });
const marks = [];

function draw() {
  stage.layer.replaceChildren();
  marks.forEach((m, i) => {
    const r = stage.px(14);
    stage.layer.append(svg('path', { class: 'cross', d: `M${m.x - r} ${m.y}H${m.x + r}M${m.x} ${m.y - r}V${m.y + r}` }),
      svg('circle', { class: 'cross', cx: m.x, cy: m.y, r: stage.px(9) }));
    const name = svg('text', { x: m.x + stage.px(14), y: m.y - stage.px(8), 'font-size': stage.px(18), fill: '#ffe14d', stroke: '#14202b', 'stroke-width': stage.px(3), 'paint-order': 'stroke', 'font-weight': 700 });
    name.textContent = 'AB'[i];
    stage.layer.append(name);
  });
  $('marks-say').textContent = t(['refused.marks.first', 'refused.marks.second', 'refused.marks.both'][marks.length]);
}

stage.onView = draw;
stage.onTap = (place) => { if (marks.length < 2) { marks.push(place); draw(); } };
stage.onGrab = (place) => {
  const m = marks.find((k) => Math.hypot(k.x - place.x, k.y - place.y) < stage.px(26));
  if (!m) return null;
  return { move: (p) => { Object.assign(m, p); draw(); }, end: () => draw() };
};
$('clear').addEventListener('click', () => { marks.length = 0; draw(); });
$('marks').addEventListener('submit', async (event) => {
  event.preventDefault();
  $('fault').textContent = '';
  if (marks.length < 2) {
    $('fault').textContent = t(marks.length ? 'refused.marks.second' : 'refused.marks.first');
    return;
  }
  const [a, b] = marks.map((m) => [m.x, m.y]);
  try {
    await post(`/api/photos/${data.photo}/marks`, { a, b, [inches ? 'distance_in' : 'distance_mm']: Number($('mm').value) }, key());
    location.reload();
  } catch (e) { $('fault').textContent = e.message; }
});
draw();
stage.root.dataset.ready = 'yes';

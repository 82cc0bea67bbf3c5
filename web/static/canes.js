// Drawing canes with findings and nodes on a stage.
import { svg, path, tag, tagPlace } from './stage.js';
import { t } from './text.js';

export const sorts = ['sound', 'weak', 'short_noded', 'weak_and_short_noded', 'over_vigorous', 'too_close_to_call', 'not_measurable', 'old_wood'];

// sortOf is the style in which a cane is drawn.
export function sortOf(row) {
  if (row.gone) return 'gone';
  if (row.kind === 'old_wood') return 'old_wood';
  return row.cane.finding || 'none';
}

// words is what stands beside a cane: its number and what it is said to be.
function words(row, long) {
  const sign = { agree: ' ✓', correct: ' ✎', reject: ' ✗' }[row.said] || '';
  const sort = sortOf(row);
  const what = sort === 'gone' ? '' : t(`mark.${sort === 'none' ? '' : sort}`);
  return long ? `${row.cane.id} ${what}${sign}`.trim() : `${row.cane.id}${sign}`;
}

// drawCanes draws rows ({cane, kind, gone, said}); chosen is the number of the
// cane in hand, edit tells whether its nodes can be moved, picked is the index
// of the node in hand.
export function drawCanes(stage, seen, rows, chosen, edit, picked) {
  stage.layer.replaceChildren();
  for (const w of seen.wires || []) stage.layer.append(svg('path', { class: 'wire', d: path(w.line_px) }));
  if (seen.reference?.outline_px?.length) stage.layer.append(svg('path', { class: 'outline', d: path(seen.reference.outline_px) + 'Z' }));
  const taken = [];
  const tags = [];
  const order = [...rows].sort((a, b) => (b.cane.id === chosen) - (a.cane.id === chosen));
  for (const row of order) {
    const isChosen = row.cane.id === chosen;
    // While nodes are moved, the tags would only be in the way.
    if (edit && !isChosen) continue;
    for (const w of [words(row, true), words(row, false)]) {
      const at = tagPlace(stage, row.cane.centre_line_px, w, taken);
      if (at) { tags.push([row, at, w]); break; }
    }
  }
  for (const row of order.reverse()) {
    const isChosen = row.cane.id === chosen;
    const g = svg('g', { class: (isChosen ? 'chosen' : edit ? 'faded' : '') });
    const d = path(row.cane.centre_line_px);
    g.append(svg('path', { class: 'case', d }), svg('path', { class: `cane ${sortOf(row)}`, d }));
    if (!edit) g.append(svg('path', { class: 'hit', d, 'data-cane': row.cane.id }));
    if (isChosen) {
      row.cane.nodes.forEach((n, i) => g.append(svg('circle', {
        class: `node${i === picked ? ' picked' : ''}`, cx: n.px[0], cy: n.px[1], r: stage.px(edit ? 8 : 5),
      })));
    }
    stage.layer.append(g);
  }
  for (const [row, at, w] of tags) {
    stage.layer.append(svg('g', { class: row.cane.id === chosen ? 'chosen' : '' }, tag(stage, at, w)));
  }
}

// sample draws the line of a finding into a small picture.
export function sample(root, sort) {
  root.replaceChildren(svg('path', { class: 'case', d: 'M4 8H52' }), svg('path', { class: `cane ${sort}`, d: 'M4 8H52' }));
}

// box is the part of the photo that a cane fills.
export function box(cane, from = 0, to = 1) {
  const n = cane.centre_line_px.length;
  const part = cane.centre_line_px.slice(Math.floor(from * (n - 1)), Math.ceil(to * (n - 1)) + 1);
  const xs = part.map((p) => p[0]);
  const ys = part.map((p) => p[1]);
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

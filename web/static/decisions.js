// What somebody would do with a vine's canes, in words and drawn on its photo.
import { svg, path, tag, tagPlace } from './stage.js';
import { t } from './text.js';

export const placeWords = (p) => (p ? `${t(`exercise.wire.${p.wire}`)}, ${t(`exercise.way.${p.direction}`)}` : '');

// decisionWords puts a decision in words: fate, place, buds.
export function decisionWords(d, form) {
  if (!d) return '';
  let words = t(`exercise.fate.${d.fate}`);
  if (d.place) words += ` (${placeWords(form.places[d.place - 1])})`;
  if (d.buds) words += `, ${t('exercise.buds', { n: d.buds })}`;
  return words;
}

// whyWords is the reason, from the list and in own words.
export const whyWords = (d) => [d.reason ? t(`exercise.reason.${d.reason}`) : '', d.words || ''].filter(Boolean).join('. ');

// styles of fates, told apart by their dashes; the words stand beside.
export const styleOf = { lay: 'keep', spur: 'spur', remove: 'remove', ask: 'ask', other: 'none' };

// markWords is what stands beside a cane on the photo.
export function markWords(d) {
  if (!d) return '';
  return d.fate === 'lay' ? t('exercise.mark.lay', { place: d.place || '?' }) : t(`exercise.mark.${d.fate}`);
}

// cutMark draws a bar across a line where it is to be cut.
export function cutMark(stage, layer, line, [x, y]) {
  let i = 1;
  for (let k = 1; k < line.length; k++) if (Math.hypot(line[k][0] - x, line[k][1] - y) < Math.hypot(line[i][0] - x, line[i][1] - y)) i = k;
  const [dx, dy] = [line[i][0] - line[i - 1][0], line[i][1] - line[i - 1][1]];
  const l = Math.hypot(dx, dy) || 1;
  const r = stage.px(12);
  const d = `M${x - (dy / l) * r} ${y + (dx / l) * r}L${x + (dy / l) * r} ${y - (dx / l) * r}`;
  layer.append(svg('path', { class: 'cut', d }), svg('path', { class: 'cut over', d }));
}

// drawDecisions draws canes with what somebody would do with each; sign(id)
// goes before the words, '' for none.
export function drawDecisions(stage, layer, canes, choice, sign = () => '') {
  layer.replaceChildren();
  const taken = [];
  const tags = [];
  for (const c of canes) {
    const d = choice?.canes.find((x) => x.cane === c.id);
    const p = path(c.line_px);
    layer.append(svg('path', { class: 'case', d: p }), svg('path', { class: `cane ${d ? styleOf[d.fate] : 'none'}`, d: p }));
    if (d?.cut_px) cutMark(stage, layer, c.line_px, d.cut_px);
    for (const words of [`${sign(c.id)}${c.id} ${markWords(d)}`.trim(), `${sign(c.id)}${c.id}`]) {
      const at = tagPlace(stage, c.line_px, words, taken);
      if (at) { tags.push(tag(stage, at, words)); break; }
    }
  }
  layer.append(...tags);
}

// drawArrow draws an arrow with its number at the tail.
export function drawArrow(stage, layer, [x0, y0], [x1, y1], words) {
  const a = Math.atan2(y1 - y0, x1 - x0);
  const r = stage.px(16);
  const head = [a + 2.6, a - 2.6].map((b) => `L${x1 + r * Math.cos(b)} ${y1 + r * Math.sin(b)}M${x1} ${y1}`).join('');
  const d = `M${x0} ${y0}L${x1} ${y1}${head}`;
  layer.append(svg('path', { class: 'arrow under', d }), svg('path', { class: 'arrow', d }));
  if (words) layer.append(tag(stage, [x0, y0], words));
}

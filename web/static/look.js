// A look at a photo on the spot, while the pruner still stands at the vine. The
// phone itself tells whether it is sharp and bright enough, also without
// signal; the service, where it can be reached, looks for the card, the wires
// and the background on a small copy. It only advises: every photo can be sent.
import { t } from './text.js';

// rules are the tunables of what the phone itself looks at.
export const rules = {
  // Side of the squares that are looked at in full size, and of the copies, px.
  square: 320, small: 256, copy: 1700,
  // From this blur on a photo is called blurred; 0 is perfectly sharp, 1 is
  // nothing but blur. Larger lets softer photos pass. The photos of testdata
  // have 0.14 to 0.46 as they are, 0.65 to 0.85 blurred by 3 px or moved by 10.
  blur: 0.55,
  // The least share of pixels with an edge in a square that tells of sharpness.
  // Smaller judges by noise.
  edges: 0.01,
  // The brightness (0 to 255) that a twentieth of the photo must exceed, and the
  // share of it that may be burnt out. A white sheet fills up to half of it.
  bright: 96, burnt: 0.55,
  // How long the service's word is waited for, ms.
  patience: 8000,
};

// luma gives the brightness of a picture's pixels (ITU-R BT.601).
function luma({ data, width, height }) {
  const out = new Float32Array(width * height);
  for (let i = 0; i < out.length; i++) out[i] = 0.299 * data[4 * i] + 0.587 * data[4 * i + 1] + 0.114 * data[4 * i + 2];
  return out;
}

// value gives the largest of each pixel's three values, so that a blue sheet in
// the sun isn't taken for dusk.
function value({ data, width, height }) {
  const out = new Float32Array(width * height);
  for (let i = 0; i < out.length; i++) out[i] = Math.max(data[4 * i], data[4 * i + 1], data[4 * i + 2]);
  return out;
}

// blurOf tells how blurred a picture is along one direction: how much of the
// difference of neighbours is left once it is blurred more. After F. Crete,
// T. Dolmiere, P. Ladret and M. Nicolas, The blur effect: perception and
// estimation with a new no-reference perceptual blur metric, Proc. SPIE 6492
// (2007): a sharp picture loses much, a blurred one little. Unlike there, what
// is no more than noise is left out, since noise is sharp in any photo. edges is
// the share of pixels that are left.
const NOISE = 6; // levels between neighbours
function blurAlong(y, width, height, dx, dy) {
  const R = 4; // the paper's nine pixels
  let all = 0;
  let left = 0;
  let n = 0;
  for (let j = dy * (R + 1); j < height - dy * R; j++) {
    for (let i = dx * (R + 1); i < width - dx * R; i++) {
      const k = j * width + i;
      const step = dx + dy * width;
      const d = Math.abs(y[k] - y[k - step]);
      if (d < NOISE) continue;
      // The mean of nine minus that of the nine before is what entered it less
      // what left it.
      const b = Math.abs(y[k + R * step] - y[k - (R + 1) * step]) / (2 * R + 1);
      all += d;
      left += Math.max(0, d - b);
      n++;
    }
  }
  return { blur: n ? (all - left) / all : 1, edges: n / (width * height) };
}

export function blurOf(picture) {
  const y = luma(picture);
  const a = blurAlong(y, picture.width, picture.height, 1, 0);
  const b = blurAlong(y, picture.width, picture.height, 0, 1);
  return { blur: Math.max(a.blur, b.blur), edges: Math.max(a.edges, b.edges) };
}

function draw(source, sx, sy, sw, sh, w, h) {
  const canvas = document.createElement('canvas');
  canvas.width = w;
  canvas.height = h;
  const to = canvas.getContext('2d', { willReadFrequently: true });
  to.imageSmoothingQuality = 'medium';
  to.drawImage(source, sx, sy, sw, sh, 0, 0, w, h);
  return canvas;
}

const pixels = (canvas) => canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);

// here is what the phone itself sees of a picture: points as the service gives
// them, and the numbers they follow from.
export function here(picture) {
  const { width: w, height: h } = picture;
  const small = pixels(draw(picture, 0, 0, w, h, rules.small, Math.max(1, Math.round((rules.small * h) / w))));
  const most = value(small).sort();
  const bright = most[Math.floor(0.95 * (most.length - 1))];
  const burnt = luma(small).filter((v) => v >= 252).length / most.length;
  // The middle and four places about it, in full size; what shows little there
  // tells nothing of sharpness.
  const side = Math.min(rules.square, w, h);
  const seen = [[0.5, 0.5], [0.3, 0.35], [0.7, 0.35], [0.3, 0.65], [0.7, 0.65]]
    .map(([fx, fy]) => blurOf(pixels(draw(picture, Math.round(fx * w - side / 2), Math.round(fy * h - side / 2), side, side, side, side))))
    .filter((s) => s.edges >= rules.edges);
  // The middle one: a far background may be blurred, one square may be noise.
  const blur = seen.length ? seen.map((s) => s.blur).sort((a, b) => a - b)[Math.floor((seen.length - 1) / 2)] : NaN;
  const points = [
    Number.isNaN(blur) ? { of: 'sharp', state: 'unknown', say: 'sharp_unknown' }
      : blur > rules.blur ? { of: 'sharp', state: 'change', say: 'hold_still' } : { of: 'sharp', state: 'good', say: 'sharp' },
    bright < rules.bright ? { of: 'light', state: 'change', say: 'too_dark' }
      : burnt > rules.burnt ? { of: 'light', state: 'change', say: 'burnt' } : { of: 'light', state: 'good', say: 'light' },
  ];
  return { points, blur, bright, burnt };
}

// there asks the service about a small copy; full is the photo's longer side.
async function there(picture) {
  const { width: w, height: h } = picture;
  const f = Math.min(1, rules.copy / Math.max(w, h));
  const copy = draw(picture, 0, 0, w, h, Math.round(w * f), Math.round(h * f));
  const blob = await new Promise((done) => { copy.toBlob(done, 'image/jpeg', 0.85); });
  const body = new FormData();
  body.append('photo', blob, 'copy.jpg');
  const answer = await fetch(`/api/look?full=${Math.max(w, h)}`, { method: 'POST', headers: { 'X-Nodespan': '1' }, body, signal: AbortSignal.timeout(rules.patience) });
  if (!answer.ok) throw new Error(String(answer.status));
  return (await answer.json()).points;
}

const signs = { good: '✓', change: '!', unknown: '–' };

function tell(box, points) {
  // What is to be changed first, for it is what is read.
  const order = { change: 0, unknown: 2, good: 1 };
  const list = [...points].sort((a, b) => order[a.state] - order[b.state]);
  box.replaceChildren(...list.map((p) => {
    const li = Object.assign(document.createElement('li'), { className: p.state });
    li.dataset.of = p.of;
    li.append(Object.assign(document.createElement('span'), { textContent: signs[p.state], ariaHidden: 'true' }),
      Object.assign(document.createElement('span'), { textContent: t(`look.${p.say}`) }));
    return li;
  }));
}

const known = new Set(['image/jpeg', 'image/png', 'image/webp']);

// look shows in box what is seen of a photo; still tells whether it is the one
// that is shown.
export async function look(file, box, still) {
  box.dataset.state = 'looking';
  box.replaceChildren(Object.assign(document.createElement('li'), { className: 'unknown', textContent: t('look.looking') }));
  let picture = null;
  try { picture = await createImageBitmap(file); } catch { /* the service reads more kinds than this browser */ }
  if (!still()) return;
  if (!picture) {
    // A kind that every browser reads, and this file not: it isn't whole.
    tell(box, [known.has(file.type) ? { of: 'photo', state: 'change', say: 'damaged' } : { of: 'photo', state: 'unknown', say: 'unreadable' }]);
    box.dataset.state = 'done';
    return;
  }
  const mine = here(picture);
  // For whoever asks why.
  Object.assign(box.dataset, { blur: mine.blur, bright: mine.bright, burnt: mine.burnt });
  tell(box, [...mine.points, { of: 'reference', state: 'unknown', say: navigator.onLine ? 'looking' : 'no_signal' }]);
  let theirs = null;
  if (navigator.onLine) try { theirs = await there(picture); } catch { /* no signal after all, or the service is busy */ }
  picture.close();
  if (!still()) return;
  if (!theirs) tell(box, [...mine.points, { of: 'reference', state: 'unknown', say: 'no_signal' }]);
  else {
    // Of the same thing the one that wants a change is told.
    const all = theirs.filter((p) => p.state !== 'unknown' || !mine.points.some((m) => m.of === p.of));
    for (const m of mine.points) {
      const i = all.findIndex((p) => p.of === m.of);
      if (i < 0) all.push(m);
      else if (all[i].state !== 'change' && m.state === 'change') all[i] = m;
    }
    tell(box, all);
  }
  box.dataset.state = 'done';
}

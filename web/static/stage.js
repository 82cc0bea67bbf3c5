// A photo on which things are drawn and pointed at: pan and zoom by touch,
// wheel, buttons and keys. Places are pixels of the upright photo, as in the
// measurement: (0, 0) is the centre of the top-left pixel.
const NS = 'http://www.w3.org/2000/svg';

// svg makes an SVG element with attributes and children.
export function svg(name, attributes = {}, ...children) {
  const e = document.createElementNS(NS, name);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  e.append(...children);
  return e;
}

// How far a finger may slip and still tap, CSS pixels.
const SLIP = 8;
// After so long without a move what depends on the part in sight is drawn anew,
// ms; while the finger moves only the picture follows it.
const REST = 80;
// The most that one photo pixel is enlarged, CSS pixels.
const LARGEST = 6;

export class Stage {
  // photo: {width, height, medium, full}. The callbacks get photo places:
  // onTap(place), onGrab(place) -> {move, end} or null, onView().
  constructor(box, photo) {
    this.box = box;
    this.photo = photo;
    this.root = box.querySelector('svg');
    // Pixel centres lie on whole numbers, so the picture starts half a pixel before.
    this.image = svg('image', { x: -0.5, y: -0.5, width: photo.width, height: photo.height, preserveAspectRatio: 'none', href: photo.medium });
    this.layer = svg('g');
    this.root.append(this.image, this.layer);
    this.pointers = new Map();
    this.onTap = this.onGrab = this.onView = () => null;
    this.view = { x: 0, y: 0, scale: 1 }; // centre, CSS pixels for each photo pixel
    this.whole();
    new ResizeObserver(() => { this.measured = null; this.apply(); }).observe(this.root);
    this.root.addEventListener('pointerdown', (e) => this.down(e));
    this.root.addEventListener('pointermove', (e) => this.move(e));
    this.root.addEventListener('pointerup', (e) => this.up(e, true));
    this.root.addEventListener('pointercancel', (e) => this.up(e, false));
    this.root.addEventListener('wheel', (e) => { e.preventDefault(); this.zoom(Math.exp(-e.deltaY / 400), this.at(e)); }, { passive: false });
    this.root.addEventListener('keydown', (e) => this.keyed(e));
    box.querySelector('#zoom-in').addEventListener('click', () => this.zoom(1.6));
    box.querySelector('#zoom-out').addEventListener('click', () => this.zoom(1 / 1.6));
    box.querySelector('#zoom-whole').addEventListener('click', () => this.whole());
  }

  // size is that of the window onto the photo, CSS pixels. It is kept, since
  // asking makes the browser lay the page out.
  size() {
    this.measured ??= { w: this.root.clientWidth || 300, h: this.root.clientHeight || 300 };
    return this.measured;
  }

  least() {
    const { w, h } = this.size();
    return Math.min(w / this.photo.width, h / this.photo.height);
  }

  // whole shows all of the photo.
  whole() { this.look(this.photo.width / 2, this.photo.height / 2, 0); }

  // fit shows a box of the photo, with some air around it.
  fit(x0, y0, x1, y1, air = 0.12) {
    const { w, h } = this.size();
    const bw = Math.max(40, x1 - x0) * (1 + 2 * air);
    const bh = Math.max(40, y1 - y0) * (1 + 2 * air);
    this.look((x0 + x1) / 2, (y0 + y1) / 2, Math.min(w / bw, h / bh));
  }

  look(x, y, scale) {
    this.view = { x, y, scale };
    this.apply();
  }

  zoom(factor, around = this.view) {
    const v = this.view;
    const scale = Math.min(LARGEST, Math.max(this.least(), v.scale * factor));
    const f = v.scale / scale;
    this.look(around.x + (v.x - around.x) * f, around.y + (v.y - around.y) * f, scale);
  }

  apply() {
    const v = this.view;
    const { w, h } = this.size();
    v.scale = Math.min(LARGEST, Math.max(this.least(), v.scale));
    const keep = (c, half, length) => (2 * half >= length ? length / 2 : Math.min(length - half, Math.max(half, c)));
    v.x = keep(v.x, w / v.scale / 2, this.photo.width);
    v.y = keep(v.y, h / v.scale / 2, this.photo.height);
    this.root.setAttribute('viewBox', `${v.x - w / v.scale / 2} ${v.y - h / v.scale / 2} ${w / v.scale} ${h / v.scale}`);
    // The full photo is fetched only for who looks closely.
    const shown = Math.max(this.photo.width, this.photo.height) * v.scale * (window.devicePixelRatio || 1);
    if (shown > 2400 && !this.full && Math.max(this.photo.width, this.photo.height) > 1600) {
      this.full = new Image();
      this.full.src = this.photo.full;
      // Decoded aside, so that nothing stands still when it takes the place of
      // the smaller one.
      this.full.decode().then(() => this.image.setAttribute('href', this.photo.full), () => { this.full = null; });
    }
    this.redraw();
  }

  // redraw has what lies over the photo drawn once a frame at most; while it
  // only moves, once it rests.
  redraw() {
    const zoomed = this.drawn !== this.view.scale;
    if (!this.frame && zoomed) {
      this.frame = requestAnimationFrame(() => {
        this.frame = 0;
        this.drawn = this.view.scale;
        this.onView();
      });
    }
    clearTimeout(this.rest);
    if (!zoomed) this.rest = setTimeout(() => this.onView(), REST);
  }

  // px is the length of n CSS pixels in photo pixels.
  px(n) { return n / this.view.scale; }

  at(e) {
    const r = this.corner || this.root.getBoundingClientRect();
    const { w, h } = this.size();
    return { x: this.view.x + (e.clientX - r.left - w / 2) / this.view.scale, y: this.view.y + (e.clientY - r.top - h / 2) / this.view.scale };
  }

  down(e) {
    if (e.button) return;
    this.root.setPointerCapture(e.pointerId);
    this.corner = this.root.getBoundingClientRect();
    const place = this.at(e);
    this.pointers.set(e.pointerId, { cx: e.clientX, cy: e.clientY, sx: e.clientX, sy: e.clientY, moved: false });
    if (this.pointers.size === 1) this.grabbed = this.onGrab(place, e.target);
    else { this.grabbed?.end(null); this.grabbed = null; }
  }

  move(e) {
    const p = this.pointers.get(e.pointerId);
    if (!p) return;
    const dx = e.clientX - p.cx;
    const dy = e.clientY - p.cy;
    if (Math.hypot(e.clientX - p.sx, e.clientY - p.sy) > SLIP) p.moved = true;
    if (this.grabbed) {
      if (p.moved) this.grabbed.move(this.at(e));
    } else if (this.pointers.size === 1) {
      if (p.moved) this.look(this.view.x - dx / this.view.scale, this.view.y - dy / this.view.scale, this.view.scale);
    } else {
      const other = [...this.pointers.entries()].find(([id]) => id !== e.pointerId)[1];
      const before = Math.hypot(p.cx - other.cx, p.cy - other.cy);
      const after = Math.hypot(e.clientX - other.cx, e.clientY - other.cy);
      const middle = this.at({ clientX: (p.cx + other.cx) / 2, clientY: (p.cy + other.cy) / 2 });
      this.look(this.view.x - dx / 2 / this.view.scale, this.view.y - dy / 2 / this.view.scale, this.view.scale);
      if (before > 10) this.zoom(after / before, middle);
      p.moved = other.moved = true;
    }
    p.cx = e.clientX;
    p.cy = e.clientY;
  }

  up(e, whole) {
    const p = this.pointers.get(e.pointerId);
    if (!p) return;
    this.pointers.delete(e.pointerId);
    const place = this.at(e);
    if (!this.pointers.size) this.corner = null;
    if (this.grabbed) {
      this.grabbed.end(p.moved && whole ? place : null);
      this.grabbed = null;
    } else if (!p.moved && whole) this.onTap(place, e.target);
  }

  keyed(e) {
    const step = 60 / this.view.scale;
    const v = this.view;
    const acts = {
      ArrowLeft: () => this.look(v.x - step, v.y, v.scale), ArrowRight: () => this.look(v.x + step, v.y, v.scale),
      ArrowUp: () => this.look(v.x, v.y - step, v.scale), ArrowDown: () => this.look(v.x, v.y + step, v.scale),
      '+': () => this.zoom(1.4), '=': () => this.zoom(1.4), '-': () => this.zoom(1 / 1.4), 0: () => this.whole(),
      Enter: () => this.onTap({ x: v.x, y: v.y }, this.root),
    };
    if (e.target !== this.root || !acts[e.key] || e.ctrlKey || e.metaKey || e.altKey) return;
    e.preventDefault();
    acts[e.key]();
  }
}

// path writes a line of places as path data.
export const path = (line) => 'M' + line.map(([x, y]) => `${x} ${y}`).join('L');

// nearest finds the place on a cane's line that is nearest to a place:
// {along (mm from the base), px, away (photo pixels)}.
export function nearest(cane, place) {
  const line = cane.centre_line_px;
  let best = { along: 0, px: line[0], away: Infinity };
  for (let i = 1; i < line.length; i++) {
    const [ax, ay] = line[i - 1];
    const [bx, by] = line[i];
    const l2 = (bx - ax) ** 2 + (by - ay) ** 2;
    const s = l2 ? Math.min(1, Math.max(0, ((place.x - ax) * (bx - ax) + (place.y - ay) * (by - ay)) / l2)) : 0;
    const px = [ax + s * (bx - ax), ay + s * (by - ay)];
    const away = Math.hypot(place.x - px[0], place.y - px[1]);
    if (away < best.away) best = { along: cane.along_mm[i - 1] + s * (cane.along_mm[i] - cane.along_mm[i - 1]), px, away };
  }
  return best;
}

// placeAt is the place that lies along mm from the base.
export function placeAt(cane, along) {
  const a = cane.along_mm;
  const line = cane.centre_line_px;
  for (let i = 1; i < a.length; i++) {
    if (along <= a[i] && a[i] > a[i - 1]) {
      const s = Math.max(0, (along - a[i - 1]) / (a[i] - a[i - 1]));
      return [line[i - 1][0] + s * (line[i][0] - line[i - 1][0]), line[i - 1][1] + s * (line[i][1] - line[i - 1][1])];
    }
  }
  return line[line.length - 1];
}

// tag draws words in a small box of constant size beside a place.
export function tag(stage, [x, y], words, size = 13) {
  const h = stage.px(size * 1.6);
  const w = stage.px(words.length * size * 0.61 + size * 0.9);
  return svg('g', { class: 'tag', transform: `translate(${x} ${y})` },
    svg('rect', { x: 0, y: -h / 2, width: w, height: h, rx: h / 5, 'stroke-width': stage.px(1.5) }),
    Object.assign(svg('text', { x: stage.px(size * 0.45), y: stage.px(size * 0.36), 'font-size': stage.px(size) }), { textContent: words }));
}

// tagPlace picks a place along a line for a tag so that it lies in view and on
// no earlier one; null when there is no room.
export function tagPlace(stage, line, words, taken, size = 13) {
  const h = stage.px(size * 1.8);
  const w = stage.px(words.length * size * 0.61 + size * 1.2);
  const [vx, vy, vw, vh] = stage.root.getAttribute('viewBox').split(' ').map(Number);
  for (const share of [0.8, 0.65, 0.5, 0.9, 0.35, 0.72, 0.58, 0.42, 0.25, 0.97, 0.15]) {
    const [px, py] = line[Math.min(line.length - 1, Math.floor(share * line.length))];
    for (const x of [px + stage.px(6), px - w - stage.px(4)]) {
      const r = { x, y: py - h / 2, w, h };
      if (r.x < vx || r.y < vy || r.x + w > vx + vw || r.y + h > vy + vh) continue;
      if (taken.some((o) => r.x < o.x + o.w && o.x < r.x + r.w && r.y < o.y + o.h && o.y < r.y + r.h)) continue;
      taken.push(r);
      return [x, py];
    }
  }
  return null;
}

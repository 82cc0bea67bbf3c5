// Where somebody is in the vineyard, as this phone remembers it, and which vine
// comes next: along the row, and at its end back along the next one, as people
// walk.
import { get } from './net.js';

const NAME = 'nodespan.at';

// where reads a vine from the address of one of its pages, null elsewhere.
export function where(path = location.pathname) {
  const m = /^\/blocks\/(\d+)\/(\d+)\/(\d+)/.exec(path);
  return m && { block: Number(m[1]), row: Number(m[2]), vine: Number(m[3]) };
}

export const pathOf = (at) => `/blocks/${at.block}/${at.row}/${at.vine}`;

// last is the vine that was photographed last on this phone: {block, row, vine,
// way}, way being 1 towards higher numbers, -1 towards lower ones; null when
// there is none.
export function last() {
  try {
    const at = JSON.parse(localStorage.getItem(NAME) || 'null');
    return at?.block ? at : null;
  } catch { return null; }
}

// wayTo is in which direction somebody goes on who is at a vine after before.
function wayTo(at, before) {
  if (before?.block !== at.block) return 1;
  if (before.row === at.row) return Math.sign(at.vine - before.vine) || before.way;
  // Into another row, where the last one was left: back along it.
  return before.vine === at.vine ? -before.way : before.way;
}

// been remembers a vine as photographed.
export function been({ block, row, vine }) {
  const now = { block, row, vine, way: wayTo({ block, row, vine }, last()) };
  try { localStorage.setItem(NAME, JSON.stringify(now)); } catch { /* storage forbidden */ }
}

// following is the vine after at in its block, null past the last row. How long
// rows are isn't known of a block that this phone never heard of.
export function following(at, block) {
  const way = at.way || 1;
  const vine = at.vine + way;
  if (!block) return { block: at.block, row: at.row, vine: Math.max(1, vine) };
  if (vine >= 1 && vine <= block.vines_per_row) return { block: at.block, row: at.row, vine };
  return at.row < block.rows ? { block: at.block, row: at.row + 1, vine: at.vine } : null;
}

let asked = null;
// blocks lists the estate's blocks, without signal as they were last.
export function blocks() {
  asked ??= get('/api/blocks').catch(() => { asked = null; return []; });
  return asked;
}

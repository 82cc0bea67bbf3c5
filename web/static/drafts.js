// What a person has said of the canes of one measurement and not saved yet,
// with undo. It is kept in this browser, so that a closed page loses nothing:
// in local storage, which is there at once, and in IndexedDB, which also is
// after a battery died.
import { note, noted } from './waiting.js';

const nameOf = (measurement) => `nodespan.drafts.${measurement}`;

// later is the newer of two notes.
function later(a, b) {
  if (!a || !b) return a || b || null;
  return (b.at || 0) > (a.at || 0) ? b : a;
}

export class Drafts {
  // of gives the drafts of a measurement as they were left.
  static async of(measurement, seq) {
    return new Drafts(measurement, seq, await noted(nameOf(measurement)));
  }

  constructor(measurement, seq, safe = null) {
    this.name = nameOf(measurement);
    this.seq = seq;
    this.said = {}; // cane -> ruling as the API takes it
    this.missed = {}; // cane -> a traced cane that no ruling added yet
    this.steps = [];
    let quick = null;
    try { quick = JSON.parse(localStorage.getItem(this.name) || 'null'); } catch { /* a browser without storage: drafts live as long as the page */ }
    const kept = later(safe, quick);
    if (kept && Object.keys(kept.said).length) {
      this.said = kept.said;
      this.missed = kept.missed;
      // Drafts that were made before somebody else saved keep the number that
      // their author had seen, so that the service asks.
      this.seq = kept.seq;
    }
  }

  // change runs f on the drafts as one step that undo takes back; where is
  // what to show again then.
  change(where, f) {
    this.steps.push({ where, said: structuredClone(this.said), missed: structuredClone(this.missed) });
    f(this.said, this.missed);
    this.keep();
  }

  undo() {
    const step = this.steps.pop();
    if (!step) return null;
    this.said = step.said;
    this.missed = step.missed;
    this.keep();
    return step;
  }

  // keep notes the drafts, also that there are none any more: an older note
  // must not come back.
  keep() {
    const now = { at: Date.now(), seq: this.seq, said: this.said, missed: this.missed };
    try {
      if (this.count) localStorage.setItem(this.name, JSON.stringify(now));
      else localStorage.removeItem(this.name);
    } catch { /* storage full or forbidden */ }
    note(this.name, structuredClone(now)).catch(() => { /* the same */ });
  }

  clear(seq) {
    this.seq = seq;
    this.said = {};
    this.missed = {};
    this.steps = [];
    this.keep();
  }

  get count() { return Object.keys(this.said).length; }
  list() { return Object.values(this.said); }
}

// What a person has said of the canes of one measurement and not saved yet,
// with undo. It is kept in this browser, so that a closed page loses nothing.
export class Drafts {
  constructor(measurement, seq) {
    this.name = `nodespan.drafts.${measurement}`;
    this.seq = seq;
    this.said = {}; // cane -> ruling as the API takes it
    this.missed = {}; // cane -> a traced cane that no ruling added yet
    this.steps = [];
    try {
      const kept = JSON.parse(localStorage.getItem(this.name) || 'null');
      if (kept) {
        this.said = kept.said;
        this.missed = kept.missed;
        // Drafts that were made before somebody else saved keep the number that
        // their author had seen, so that the service asks.
        this.seq = kept.seq;
      }
    } catch { /* a browser without storage: drafts live as long as the page */ }
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

  keep() {
    try {
      if (this.count) localStorage.setItem(this.name, JSON.stringify({ seq: this.seq, said: this.said, missed: this.missed }));
      else localStorage.removeItem(this.name);
    } catch { /* storage full or forbidden */ }
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

// What a person did and the service doesn't have yet, in the order in which it
// was done, kept in the browser's own store (IndexedDB): it outlives a closed
// page, a dead battery and a lost network. Sending it is sender.js.
//
// A piece of work: {id, kind ('photo', 'rulings', 'choice' or 'saying'), path,
// body (JSON) or file (a photo, with name and winter), key (by which a second
// sending is known), who, at (when it was made), where (in words), group (what
// it must stay in order with), state ('held': not given free yet, 'ready',
// 'stuck'), fault ({code, message, status} of a stuck one)}.
const NAME = 'nodespan-waiting';
const STORE = 'work';

// Full is thrown when the phone has no room for another piece of work.
export class Full extends Error {}
// Closed is thrown where the browser keeps nothing for pages at all.
export class Closed extends Error {}

let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    let q;
    try { q = indexedDB.open(NAME, 1); } catch (e) { reject(new Closed(String(e))); return; }
    q.onupgradeneeded = () => q.result.createObjectStore(STORE, { keyPath: 'id', autoIncrement: true });
    q.onsuccess = () => {
      // Another page may want to upgrade; and a store that the browser closed
      // is opened anew by the next who asks.
      q.result.onversionchange = () => { q.result.close(); opened = null; };
      q.result.onclose = () => { opened = null; };
      resolve(q.result);
    };
    q.onerror = () => reject(new Closed(String(q.error)));
  });
  opened.catch(() => { opened = null; });
  return opened;
}

// run does something in one transaction and gives its result when it is on
// the disk, not merely in the system's hands.
async function run(mode, act) {
  const db = await open();
  return new Promise((resolve, reject) => {
    let result;
    const tx = db.transaction(STORE, mode, { durability: 'strict' });
    tx.oncomplete = () => resolve(result?.result);
    tx.onabort = () => reject(tx.error?.name === 'QuotaExceededError' ? new Full(tx.error.message) : (tx.error || new Closed('aborted')));
    try { result = act(tx.objectStore(STORE)); } catch (e) {
      reject(e.name === 'QuotaExceededError' ? new Full(e.message) : e);
      try { tx.abort(); } catch { /* it ended by itself */ }
    }
  });
}

// Pages of the same phone hear of each other's work.
const channel = 'BroadcastChannel' in window ? new BroadcastChannel(NAME) : null;
const listeners = new Set();
channel?.addEventListener('message', (e) => { for (const f of listeners) f(e.data); });

// tell says something to every page: {changed: true}, {sending: id, share},
// {sent: id, answer}, {stuck: id}, {wait: why, seconds}.
export function tell(news) {
  for (const f of listeners) f(news);
  channel?.postMessage(news);
}

// hear has f called with all news; it gives what ends that.
export function hear(f) {
  listeners.add(f);
  return () => listeners.delete(f);
}

// keep keeps a piece of work, and gives its id once it is safe. Full and
// Closed say that it wasn't kept.
export async function keep(work) {
  const id = await run('readwrite', (s) => s.add({ at: new Date().toISOString(), state: 'ready', ...work }));
  // A browser may clear what pages keep when it is short of room, unless asked.
  navigator.storage?.persist?.().catch(() => {});
  tell({ changed: true });
  return id;
}

// all lists what waits, in the order in which it was made.
export async function all() {
  try { return await run('readonly', (s) => s.getAll()); } catch (e) {
    if (e instanceof Closed) return [];
    throw e;
  }
}

// change changes a piece of work; it is no error when it is gone.
export async function change(id, changes) {
  const db = await open();
  await new Promise((resolve, reject) => {
    const tx = db.transaction(STORE, 'readwrite', { durability: 'strict' });
    const s = tx.objectStore(STORE);
    const q = s.get(id);
    q.onsuccess = () => { if (q.result) s.put({ ...q.result, ...changes }); };
    tx.oncomplete = resolve;
    tx.onabort = () => reject(tx.error);
  });
  tell({ changed: true });
}

export async function drop(id) {
  await run('readwrite', (s) => s.delete(id));
  tell({ changed: true });
}

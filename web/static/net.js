// Talking to the service.
import { t } from './text.js';
import { signInAgain } from './again.js';

// Fault is an answer that is no success: code, message, and what is there now.
export class Fault extends Error {
  constructor(status, body, after) {
    super(body?.message || t('error.network'));
    this.status = status;
    this.after = after || 0; // seconds until it is worth trying again
    this.code = body?.code || 'internal';
    this.now = body?.now;
  }
}

// key names one sending, so that doing it twice does it once.
export const key = () => crypto.randomUUID();

async function read(answer) {
  let body = null;
  try { body = await answer.json(); } catch { /* no JSON: told by status */ }
  if (!answer.ok) throw new Fault(answer.status, body, Number(answer.headers.get('Retry-After')));
  return body;
}

export async function get(path) {
  let answer;
  try { answer = await fetch(path, { headers: { Accept: 'application/json' } }); } catch { throw new Fault(0); }
  return read(answer);
}

// patience is how often, and for how many seconds at most, a sending that the
// service has no room for is tried again.
const patience = { times: 30, longest: 60, offline: 10 };

// tryUntil sends, and again: after signing in, when the session ended; after
// the time that the service asks for, when it is busy. onWait hears how many
// seconds that is.
async function tryUntil(once, onWait) {
  for (let waits = 0; ;) {
    try { return await once(); } catch (fault) {
      if (fault.code === 'sign_in_needed' && await signInAgain()) continue;
      // Whoever uploads also waits for a network that went away: the key makes a
      // second sending harmless.
      const after = fault.status === 503 ? fault.after : fault.status === 0 && onWait ? patience.offline : 0;
      if (!after || ++waits > patience.times) throw fault;
      const seconds = Math.min(after, patience.longest);
      onWait?.(seconds, fault.status === 0);
      await new Promise((done) => { setTimeout(done, seconds * 1000); });
    }
  }
}

// send sends JSON once and gives the answer.
export async function send(method, path, body, headers = {}) {
  let answer;
  try {
    answer = await fetch(path, { method, headers: { 'Content-Type': 'application/json', 'X-Nodespan': '1', ...headers }, body: body && JSON.stringify(body) });
  } catch { throw new Fault(0); }
  return read(answer);
}

// keepAnswer puts an answer where the service worker would have kept it, so
// that a page that is opened without signal shows what was said last.
export async function keepAnswer(path, body) {
  try {
    const name = (await caches.keys()).find((n) => n.startsWith('seen-'));
    if (name) await (await caches.open(name)).put(path, new Response(JSON.stringify(body), { headers: { 'Content-Type': 'application/json' } }));
  } catch { /* no room, or no caches here: the page asks when there is signal */ }
}

// forget drops what this browser keeps of an estate's pages and pictures, but
// nothing that waits to be sent.
export async function forget() {
  try { for (const n of await caches.keys()) if (/^(seen|pictures)/.test(n)) await caches.delete(n); } catch { /* no caches here */ }
}

// post sends JSON. When the session ended meanwhile, the person signs in on
// the same page, and it is sent again.
export function post(path, body, idempotencyKey) {
  return tryUntil(() => send('POST', path, body, idempotencyKey ? { 'Idempotency-Key': idempotencyKey } : {}));
}

// A way on which nothing moved for so long is dead, seconds: while the photo
// goes up, and while its answer is awaited, which takes a decoding.
const stalled = { going: 30, answer: 120 };

// sendPhoto sends a form with a photo once; onShare hears the share that is
// sent, 0 to 1.
export function sendPhoto(path, form, headers, onShare) {
  return new Promise((resolve, reject) => {
    const x = new XMLHttpRequest();
    let watch = 0;
    const moving = (seconds) => {
      clearTimeout(watch);
      watch = setTimeout(() => x.abort(), 1000 * seconds);
    };
    x.open('POST', path);
    for (const [name, value] of Object.entries({ 'X-Nodespan': '1', ...headers })) x.setRequestHeader(name, value);
    x.responseType = 'json';
    x.upload.onprogress = (e) => {
      moving(stalled.going);
      if (e.lengthComputable) onShare(e.loaded / e.total);
    };
    x.upload.onload = () => moving(stalled.answer);
    x.onloadend = () => clearTimeout(watch);
    x.onerror = x.onabort = () => reject(new Fault(0));
    x.onload = () => (x.status < 300 ? resolve(x.response) : reject(new Fault(x.status, x.response, Number(x.getResponseHeader('Retry-After')))));
    moving(stalled.going);
    x.send(form);
  });
}

// upload sends a photo that this browser can't keep, for as long as its page
// is open; onWait hears for how many seconds it waits, and why.
export function upload(path, form, idempotencyKey, onShare, onWait) {
  return tryUntil(() => sendPhoto(path, form, { 'Idempotency-Key': idempotencyKey }, onShare), onWait);
}

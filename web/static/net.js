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

// post sends JSON. When the session ended meanwhile, the person signs in on
// the same page, and it is sent again.
export function post(path, body, idempotencyKey) {
  return tryUntil(() => send('POST', path, body, idempotencyKey ? { 'Idempotency-Key': idempotencyKey } : {}));
}

// upload sends a photo; onProgress hears the share that is sent, 0 to 1, and
// onWait for how many seconds it waits because the service is busy.
export function upload(path, form, idempotencyKey, onProgress, onWait) {
  return tryUntil(() => new Promise((resolve, reject) => {
    const x = new XMLHttpRequest();
    x.open('POST', path);
    x.setRequestHeader('X-Nodespan', '1');
    x.setRequestHeader('Idempotency-Key', idempotencyKey);
    x.responseType = 'json';
    x.upload.onprogress = (e) => { if (e.lengthComputable) onProgress(e.loaded / e.total); };
    x.onerror = () => reject(new Fault(0));
    x.onload = () => (x.status < 300 ? resolve(x.response) : reject(new Fault(x.status, x.response, Number(x.getResponseHeader('Retry-After')))));
    x.send(form);
  }), onWait);
}

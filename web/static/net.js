// Talking to the service.
import { t } from './text.js';
import { askWho } from './who.js';

// Fault is an answer that is no success: code, message, and what is there now.
export class Fault extends Error {
  constructor(status, body) {
    super(body?.message || t('error.network'));
    this.status = status;
    this.code = body?.code || 'internal';
    this.now = body?.now;
  }
}

// key names one sending, so that doing it twice does it once.
export const key = () => crypto.randomUUID();

async function read(answer) {
  let body = null;
  try { body = await answer.json(); } catch { /* no JSON: told by status */ }
  if (!answer.ok) throw new Fault(answer.status, body);
  return body;
}

export async function get(path) {
  let answer;
  try { answer = await fetch(path, { headers: { Accept: 'application/json' } }); } catch { throw new Fault(0); }
  return read(answer);
}

// post sends JSON. When the service wants to know who saves, the person is
// asked once, and it is sent again.
export async function post(path, body, idempotencyKey) {
  const headers = { 'Content-Type': 'application/json', 'X-Nodespan': '1' };
  if (idempotencyKey) headers['Idempotency-Key'] = idempotencyKey;
  for (;;) {
    let answer;
    try { answer = await fetch(path, { method: 'POST', headers, body: JSON.stringify(body) }); } catch { throw new Fault(0); }
    try { return await read(answer); } catch (fault) {
      if (fault.code !== 'name_needed' || !await askWho()) throw fault;
    }
  }
}

// upload sends a photo; onProgress hears the share that is sent, 0 to 1.
export function upload(path, form, idempotencyKey, onProgress) {
  const once = () => new Promise((resolve, reject) => {
    const x = new XMLHttpRequest();
    x.open('POST', path);
    x.setRequestHeader('X-Nodespan', '1');
    x.setRequestHeader('Idempotency-Key', idempotencyKey);
    x.responseType = 'json';
    x.upload.onprogress = (e) => { if (e.lengthComputable) onProgress(e.loaded / e.total); };
    x.onerror = () => reject(new Fault(0));
    x.onload = () => (x.status < 300 ? resolve(x.response) : reject(new Fault(x.status, x.response)));
    x.send(form);
  });
  return once().catch(async (fault) => {
    if (fault.code !== 'name_needed' || !await askWho()) throw fault;
    return once();
  });
}

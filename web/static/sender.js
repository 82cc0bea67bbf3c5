// Sends what waits (waiting.js), one piece after the other in the order in
// which it was made. Each piece goes under its own key until the service has
// answered, so it counts once however often the way breaks off; only one page
// of a phone sends at a time.
import { all, change, drop, hear, tell } from './waiting.js';
import { Fault, send, sendPhoto } from './net.js';

const LOCK = 'nodespan-sending';
// After so many seconds a way that broke off is tried again; twice as many
// each time, up to the most.
const AGAIN = { first: 4, most: 60 };
// A fault of the service's own is tried so often before the next piece comes.
const TRIES = 4;

let pause = AGAIN.first;
let timer = null;
let running = null;
let wanted = false;

// person is who is signed in, as far as this page knows.
export const person = () => document.body.dataset.who || '';

const one = (work, onShare) => {
  const headers = { 'Idempotency-Key': work.key, 'X-Nodespan-As': encodeURIComponent(work.who) };
  if (work.kind !== 'photo') return send('POST', work.path, work.body, headers);
  const form = new FormData();
  if (work.winter) form.append('winter', work.winter);
  form.append('photo', work.file, work.name || 'photo.jpg');
  return sendPhoto(work.path, form, headers, onShare);
};

// signInFirst tells whether it goes up once the person who made it signs in.
const signInFirst = (e) => e.code === 'sign_in_needed' || e.code === 'other_person';

// kick sends what waits, now, if nothing sends already.
export function kick() {
  clearTimeout(timer);
  timer = null;
  wanted = true;
  running ??= (navigator.locks ? navigator.locks.request(LOCK, rounds) : rounds()).finally(() => {
    running = null;
    if (wanted) kick();
  });
  return running;
}

async function rounds() {
  while (wanted) {
    wanted = false;
    try { await round(); } catch (e) {
      later(e.after || 0, e.status === 0 ? 'offline' : signInFirst(e) ? 'signin' : 'busy');
    }
  }
}

// later tries again after a while; why is for the person.
function later(after, why) {
  wanted = false;
  tell({ wait: why, seconds: after || pause });
  if (why === 'signin') return; // until somebody signs in
  timer = setTimeout(kick, 1000 * (after || pause));
  if (!after) pause = Math.min(AGAIN.most, 2 * pause);
}

// round sends all that can be sent; it throws the Fault for which nothing can
// be sent at the moment.
async function round() {
  const held = new Set(); // what must not overtake a piece that is stuck
  for (const done = new Set(); ;) {
    const work = (await all()).find((w) => !done.has(w.id));
    if (!work) return;
    done.add(work.id);
    // What was made before anybody had signed in here is of who does now.
    if (!work.who && person()) {
      await change(work.id, { who: person() });
      work.who = person();
    }
    if (work.state === 'held' || work.who !== person()) {
      if (work.group) held.add(work.group);
      continue;
    }
    if (work.state === 'stuck' || held.has(work.group)) {
      if (work.group) held.add(work.group);
      continue;
    }
    try {
      const answer = await one(work, (share) => tell({ sending: work.id, share }));
      await drop(work.id);
      pause = AGAIN.first;
      tell({ sent: work.id, answer });
    } catch (e) {
      if (!(e instanceof Fault)) throw e;
      const tries = (work.tries || 0) + 1;
      const ours = e.status >= 500 && e.status !== 503;
      if (e.status === 0 || signInFirst(e) || e.status === 429 || e.status === 503 || (ours && tries < TRIES)) {
        if (ours) await change(work.id, { tries });
        throw e;
      }
      // The service won't take it as it is: a person has to look. Nothing else
      // has to wait for that, but what follows from it.
      await change(work.id, { state: 'stuck', fault: { status: e.status, code: e.code, message: e.message, now: e.now } });
      if (work.group) held.add(work.group);
      tell({ stuck: work.id });
    }
  }
}

hear((news) => { if (news.changed && !running && !timer) kick(); });
window.addEventListener('online', () => { pause = AGAIN.first; kick(); });
document.addEventListener('visibilitychange', () => { if (!document.hidden) kick(); });

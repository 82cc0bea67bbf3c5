// The service worker: pages open without signal. It keeps what the pages
// outdoors are made of, and the pages, answers and pictures that were seen.
// The service puts the line with VERSION before this; another version begins
// with empty caches. It sends nothing: that is sender.js, in a page.
const SHELL = `shell-${VERSION}`;
const SEEN = `seen-${VERSION}`;
const PICTURES = 'pictures';
// How many pages and answers, and pictures, are kept. More fill the phone.
const MOST = { [SEEN]: 200, [PICTURES]: 80 };
// What is kept is shown when the network hasn't answered for so long, ms.
const PATIENCE = 5000;

const FILES = ['nodespan.css', 'frame.js', 'again.js', 'net.js', 'text.js', 'waiting.js', 'sender.js', 'stage.js', 'canes.js', 'drafts.js', 'look.js', 'walk.js', 'last.js',
  'page-home.js', 'page-addphoto.js', 'page-waiting.js', 'page-rule.js', 'page-choice.js', 'page-plan.js', 'page-progress.js', 'page-vine.js', 'sketch.svg', 'icon.svg']
  .map((name) => `/static/${VERSION}/${name}`);
// Pages of nobody in particular: what waits, and adding a photo to any vine.
const PAGES = { waiting: '/waiting', photo: '/offline/photo' };

self.addEventListener('install', (e) => {
  e.waitUntil((async () => {
    await (await caches.open(SHELL)).addAll(FILES);
    await keepPages();
    // What only somebody who is signed in gets; without it the next page brings it.
    for (const path of ['/api/blocks', '/']) await fetch(path).then((answer) => put(SEEN, new Request(path), answer)).catch(() => {});
    await self.skipWaiting();
  })());
});

// keepPages keeps the pages in the language that the browser has now.
async function keepPages() {
  const shell = await caches.open(SHELL);
  await shell.addAll(Object.values(PAGES));
  const text = await (await shell.match(PAGES.waiting)).text();
  const language = /data-language="([a-z-]+)"/.exec(text)?.[1] || 'en';
  await shell.add(`/text/${language}.json?${VERSION}`);
}

self.addEventListener('activate', (e) => {
  e.waitUntil((async () => {
    for (const name of await caches.keys()) if (![SHELL, SEEN, PICTURES].includes(name)) await caches.delete(name);
    await self.clients.claim();
  })());
});

// A page says that its language is another one now.
self.addEventListener('message', (e) => { if (e.data === 'pages') e.waitUntil(keepPages().catch(() => {})); });

self.addEventListener('fetch', (e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== 'GET' || url.origin !== self.location.origin) return;
  const path = url.pathname;
  if (/^\/static\/v[0-9a-f]{12}\//.test(path) || (path.startsWith('/text/') && url.search)) e.respondWith(asItWas(e.request, SHELL));
  else if (/^\/photos\/\d+\/picture\/(small|medium)\.jpg$/.test(path)) e.respondWith(asItWas(e.request, PICTURES));
  else if (e.request.mode === 'navigate') {
    if (!/\.[a-z]+$|\/picture\//.test(path)) e.respondWith(page(e, path));
  } else if (/^\/api\/(blocks|measurements\/\d+(\/choice)?|photos\/\d+)$/.test(path)) e.respondWith(freshOrSeen(e));
});

// asItWas is for what never changes under its address.
async function asItWas(request, name) {
  const kept = await caches.match(request, { ignoreVary: true });
  if (kept) return kept;
  const answer = await fetch(request);
  await put(name, request, answer);
  return answer;
}

async function put(name, request, answer) {
  // What may not be seen any more, such as a vine that somebody is to choose for
  // blind, isn't kept from before either.
  if (answer.status === 403) await (await caches.open(name)).delete(request, { ignoreVary: true });
  if (!answer.ok || answer.redirected || answer.type !== 'basic') return;
  const copy = answer.clone();
  try {
    const cache = await caches.open(name);
    await cache.put(request, copy);
    const keys = await cache.keys();
    for (const old of keys.slice(0, Math.max(0, keys.length - (MOST[name] || keys.length)))) await cache.delete(old);
  } catch { /* the phone is full: it goes without */ }
}

// freshOrSeen asks the service, and gives what was seen last when the answer
// doesn't come.
async function freshOrSeen(e) {
  const seen = await (await caches.open(SEEN)).match(e.request, { ignoreVary: true });
  const fresh = fetch(e.request).then((answer) => {
    // An answer of a proxy that can't reach the service is none.
    if (seen && [502, 503, 504].includes(answer.status)) throw new TypeError('no service');
    e.waitUntil(put(SEEN, e.request, answer.clone()));
    return answer;
  });
  if (!seen) return fresh;
  e.waitUntil(fresh.catch(() => {}));
  const late = new Promise((resolve) => { setTimeout(() => resolve(seen), PATIENCE); });
  return Promise.race([fresh.catch(() => seen), late]);
}

const outdoors = /^\/$|^\/blocks\/\d+(\/\d+\/\d+(\/(photo|plan))?)?$|^\/photos\/\d+(\/choice)?$|^\/(about|card)$/;

async function page(e, path) {
  const shell = await caches.open(SHELL);
  if (Object.values(PAGES).includes(path)) return (await shell.match(path, { ignoreVary: true })) || fetch(e.request);
  try {
    return await (outdoors.test(path) ? freshOrSeen(e) : fetch(e.request));
  } catch (fault) {
    // Any vine can be photographed; any other page says that it isn't here.
    const kept = await shell.match(/^\/blocks\/\d+\/\d+\/\d+(\/photo)?$/.test(path) ? PAGES.photo : PAGES.waiting, { ignoreVary: true });
    if (kept) return kept;
    throw fault;
  }
}

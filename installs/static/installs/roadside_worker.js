// Keeps the roadside's pages on the phone, so that they open without signal.
//
// Only pages that carry the mark of the person this worker was made for are kept
// (meta name="roadside-user"); the network is always asked first; nothing that is sent
// is touched; all is forgotten at sign-out, at sign-in, and when somebody else's page
// passes by. `self.ROADSIDE` is written in front of this by the server.

const facts = self.ROADSIDE;
const userId = new URL(self.location.href).searchParams.get("user") ?? "";
const family = "wimprog-roadside";
const cacheName = `${family}:${facts.version}:${userId}`;
const keptAt = "x-kept-at";
const mostPages = 80;
const patience = { page: 8000, asset: 4000, keep: 20000 };

// --- coming and going ------------------------------------------------------------------
// A newer version first fetches what the older one kept; without signal the older stays.
async function install() {
  const cache = await caches.open(cacheName);
  for (const address of facts.assets) await keepAsset(cache, address, true);
  for (const name of await older()) {
    if (!name.endsWith(`:${userId}`)) continue;
    for (const asked of await (await caches.open(name)).keys()) {
      const url = new URL(asked.url);
      if (!url.pathname.startsWith(facts.staticPath)) await keepPage(url.href);
    }
  }
  await self.skipWaiting();
}
async function older() {
  return (await caches.keys()).filter(
    (name) => name.startsWith(`${family}:`) && name !== cacheName);
}
async function activate() {
  for (const name of await older()) await caches.delete(name);
  await self.clients.claim();
}
async function forgetAll() {
  for (const name of await caches.keys()) {
    if (name.startsWith(`${family}:`)) await caches.delete(name);
  }
}
self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(activate()));

// --- keeping -----------------------------------------------------------------------------
const bare = (address) => { const url = new URL(address, self.location.origin); url.hash = ""; return url.href; };

async function keepAsset(cache, address, must = false) {
  if (!must && await cache.match(address)) return;
  const answer = await fetch(address, { cache: "no-cache", signal: AbortSignal.timeout(patience.keep) });
  if (answer.ok) await cache.put(address, answer);
}

// Whose page is it, by its own mark? "" for a page that is not to be kept.
const markOf = (html) => html.match(/<meta name="roadside-user" content="(\d+)"/)?.[1] ?? "";

async function store(address, answer) {
  if (!answer.ok || answer.redirected || answer.type !== "basic") return false;
  if (!(answer.headers.get("content-type") ?? "").startsWith("text/html")) return false;
  const html = await answer.text();
  const mark = markOf(html);
  if (mark && mark !== userId) { await forgetAll(); return false; }
  if (!mark) return false;
  const cache = await caches.open(cacheName);
  const headers = { "content-type": "text/html; charset=utf-8", [keptAt]: new Date().toISOString() };
  const policy = answer.headers.get("content-security-policy");
  if (policy) headers["content-security-policy"] = policy;
  await cache.put(bare(address), new Response(html, { headers }));
  for (const [, found] of html.matchAll(/(?:href|src)="([^"]+)"/g)) {
    if (!found.startsWith(facts.staticPath)) continue;
    try { await keepAsset(cache, found); } catch { /* next time */ }
  }
  await trim(cache);
  return true;
}
async function keepPage(address) {
  const answer = await fetch(address, {
    credentials: "same-origin", redirect: "follow", cache: "no-store",
    signal: AbortSignal.timeout(patience.keep),
  });
  return store(address, answer);
}
async function trim(cache) {
  const pages = [];
  for (const asked of await cache.keys()) {
    const at = (await cache.match(asked))?.headers.get(keptAt);
    if (at) pages.push([at, asked]);
  }
  pages.sort((a, b) => (a[0] < b[0] ? 1 : -1));
  for (const [, asked] of pages.slice(mostPages)) await cache.delete(asked);
}

// --- answering ---------------------------------------------------------------------------
self.addEventListener("fetch", (event) => {
  const asked = event.request;
  const url = new URL(asked.url);
  if (url.origin !== self.location.origin) return;
  if (asked.method === "POST") {
    if (facts.ends.includes(url.pathname)) event.waitUntil(forgetAll());
    return;
  }
  if (asked.method !== "GET" || !userId) return;
  if (asked.mode === "navigate") event.respondWith(page(event));
  else if (url.pathname.startsWith(facts.staticPath)) event.respondWith(asset(event));
});

async function page(event) {
  const address = bare(event.request.url);
  const cache = await caches.open(cacheName);
  const kept = await cache.match(address);
  const stop = new AbortController();
  const timer = kept && setTimeout(() => stop.abort(), patience.page);
  try {
    const answer = await fetch(event.request, { signal: stop.signal });
    if (kept && answer.status >= 500) return shown(kept, "the server does not answer");
    event.waitUntil(store(address, answer.clone()).catch(() => false));
    return answer;
  } catch {
    if (kept) return shown(kept, "there is no signal");
    const list = await cache.match(bare(facts.list));
    return list ? shown(list, "there is no signal", address) : Response.error();
  } finally { clearTimeout(timer); }
}

async function asset(event) {
  const cache = await caches.open(cacheName);
  const kept = await cache.match(event.request, { ignoreVary: true });
  if (!kept) return fetch(event.request);
  try {
    const answer = await fetch(event.request, { signal: AbortSignal.timeout(patience.asset) });
    if (answer.ok) { event.waitUntil(cache.put(event.request, answer.clone())); return answer; }
    return kept;
  } catch { return kept; }
}

// A kept page says so, and from when it is; `missing` is the address asked for when the
// page shown is another.
async function shown(kept, reason, missing = "") {
  const at = kept.headers.get(keptAt);
  const html = await kept.text();
  const words = missing
    ? `The page that you asked for is not kept on this phone, and ${reason}. Below is what is kept; this list is from ${moment(at)}.`
    : `This page is from ${moment(at)}; ${reason}.`;
  const note = `<p class="message warning" id="kept-note" role="status">${words}</p>`;
  const told = html
    .replace("<html ", `<html data-kept-at="${at}"${missing ? " data-missing" : ""} `)
    .replace(/<main\b[^>]*>/, (main) => main + note);
  return new Response(told, { headers: kept.headers });
}
function moment(at) {
  const when = new Date(at);
  const time = when.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  if (when.toDateString() === new Date().toDateString()) return time;
  return `${when.toLocaleDateString("en-GB", { day: "numeric", month: "short", year: "numeric" })}, ${time}`;
}

// --- asked by a page ---------------------------------------------------------------------
// {keep: [addresses]} fetches pages that are not kept or older than ten minutes, and
// tells the page how many it has.
self.addEventListener("message", (event) => {
  if (!Array.isArray(event.data?.keep)) return;
  event.waitUntil(keepAll(event.data.keep, event.source));
});
async function keepAll(addresses, asker) {
  const cache = await caches.open(cacheName);
  let kept = 0;
  for (const address of addresses.slice(0, mostPages)) {
    const url = new URL(address, self.location.origin);
    if (url.origin !== self.location.origin) continue;
    const at = (await cache.match(bare(url.href)))?.headers.get(keptAt);
    if (at && Date.now() - Date.parse(at) < 600000) { kept += 1; continue; }
    try { if (await keepPage(url.href)) kept += 1; } catch { if (at) kept += 1; }
  }
  asker?.postMessage({ kept, asked: addresses.length });
}

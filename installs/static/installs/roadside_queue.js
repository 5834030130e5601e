// Forms that wait on the phone until the server has them: kept in IndexedDB under an
// identifier made here, sent in the order typed, one tab at a time, once each.

const baseName = "wimprog-roadside";
const entriesStore = "entries";
const locksStore = "locks";
const patience = { token: 10000, send: 45000, turn: 60000 };

export const heard = "BroadcastChannel" in window ? new BroadcastChannel(baseName) : null;

// --- the store -------------------------------------------------------------------------
export function open() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(baseName, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore(entriesStore, { keyPath: "id" });
      asked.result.createObjectStore(locksStore, { keyPath: "id" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}
async function within(store, mode, work) {
  const db = await open();
  try {
    return await new Promise((resolve, reject) => {
      // strict: on the disk before we say "kept", so that it outlives a killed browser
      const change = db.transaction(store, mode, { durability: "strict" });
      let found;
      work(change.objectStore(store), (value) => { found = value; });
      change.oncomplete = () => resolve(found);
      change.onerror = change.onabort = () => reject(change.error);
    });
  } finally { db.close(); }
}
const read = (asked, give) => { asked.onsuccess = () => give(asked.result); };
function tellOthers() { heard?.postMessage("changed"); }

export async function keep(entry) {
  await within(entriesStore, "readwrite", (rows) => { rows.put(entry); });
  navigator.storage?.persist?.().catch(() => false);
  tellOthers();
}
export async function forget(id) {
  await within(entriesStore, "readwrite", (rows) => { rows.delete(id); });
  tellOthers();
}
export const entryOf = (id) =>
  within(entriesStore, "readonly", (rows, give) => read(rows.get(id), give));
export async function allEntries() {
  const all = await within(entriesStore, "readonly", (rows, give) => read(rows.getAll(), give));
  return all.sort((a, b) => a.at - b.at);
}
export const entriesOf = async (user) =>
  (await allEntries()).filter((entry) => entry.user === user);

export function fresh() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

// --- one tab at a time -------------------------------------------------------------------
// The browser's own locks where it has them; otherwise a row that runs out by itself.
async function alone(work) {
  if (navigator.locks) {
    const signal = AbortSignal.timeout(patience.turn);
    return navigator.locks.request(baseName, { signal }, work);
  }
  const me = fresh();
  const until = Date.now() + patience.turn;
  while (!await take(me)) {
    if (Date.now() > until) throw new Error("another tab is sending");
    await new Promise((later) => setTimeout(later, 300));
  }
  const renew = setInterval(() => take(me), 5000);
  try { return await work(); } finally {
    clearInterval(renew);
    await within(locksStore, "readwrite", (rows) => { rows.delete("sending"); });
  }
}
const take = (me) => within(locksStore, "readwrite", (rows, give) => {
  read(rows.get("sending"), (held) => {
    const free = !held || held.me === me || held.until < Date.now();
    if (free) rows.put({ id: "sending", me, until: Date.now() + 15000 });
    give(free);
  });
});

// --- sending -----------------------------------------------------------------------------
// A token that is good now: the page may be hours old.
export async function freshToken(user, address) {
  let answer;
  try {
    answer = await fetch(address, {
      redirect: "manual", cache: "no-store", signal: AbortSignal.timeout(patience.token),
    });
  } catch { return { why: "no signal" }; }
  if (answer.type === "opaqueredirect") return { why: "signed out" };
  if (!answer.ok) return { why: "no server" };
  let told;
  try { told = await answer.json(); } catch { return { why: "no server" }; }
  return told.user === user ? { token: told.token } : { why: "somebody else" };
}

// What became of an entry: kept, clash, refused (422, with the page), problem (in words),
// or later (why), which never throws anything away.
async function send(entry, way, token) {
  const body = new FormData();
  for (const [name, value] of entry.fields) body.append(name, value);
  body.set("csrfmiddlewaretoken", token);
  body.set("client_id", entry.id);
  body.set("typed_at", entry.typedAt);
  body.set("sent_at", new Date().toISOString());
  let answer;
  try {
    answer = await fetch(entry.url, {
      method: "POST", body, redirect: "manual", headers: { "X-Roadside": way },
      signal: AbortSignal.timeout(patience.send),
    });
    if (answer.status === 200) return { outcome: "kept", ...await answer.json() };
    if (answer.status === 422) return { outcome: "refused", words: complaints(await answer.text()) };
    if (answer.status === 409) {
      const told = await answer.json();
      return { outcome: "problem", words: [told.problem], target: told.target };
    }
  } catch { return { outcome: "later", why: "no signal" }; }
  if (answer.type === "opaqueredirect") return { outcome: "later", why: "signed out" };
  if ([400, 403, 404, 405, 410, 413].includes(answer.status)) {
    return { outcome: "problem", words: [refusals[answer.status] ?? refusals[400]] };
  }
  return { outcome: "later", why: "no server" };
}
const refusals = {
  400: "The server could not read this form. Open it anew and type it again.",
  403: "You may not send this form with your account. Ask the program manager.",
  404: "What this form belongs to is not there any more. Look at its page.",
  413: "It is too large to send: leave out photos and add them later.",
};
export function complaints(html) {
  const page = new DOMParser().parseFromString(html, "text/html");
  const told = [...page.querySelectorAll("#error-summary li, .errors li")]
    .map((item) => item.textContent.trim().replace(/\s+/g, " "));
  return [...new Set(told)].filter(
    (one) => !told.some((other) => other !== one && other.endsWith(`: ${one}`)));
}

// Send what waits, in the order typed. Returns [{entry, outcome, …}] of what was tried;
// `live` is the id of the entry that a person looks at.
export function flush(user, tokenUrl, live = "") {
  return alone(async () => {
    const results = [];
    const waits = (await entriesOf(user)).filter((one) => one.state === "waiting");
    if (!waits.length) return results;
    const { token, why } = await freshToken(user, tokenUrl);
    if (!token) return [{ entry: waits.at(-1), outcome: "later", why }];
    for (const entry of waits) {
      const result = await send(entry, entry.id === live ? "live" : "waiting", token);
      results.push({ entry, ...result });
      if (result.outcome === "later") break;
      await settle(entry, result);
    }
    return results;
  });
}
async function settle(entry, result) {
  if (result.outcome === "kept") {
    const files = entry.fields.some(([, value]) => value instanceof File && value.size);
    if (result.state !== "clash" || !files) return forget(entry.id);
    return keep({
      ...entry, state: "held", target: result.target,
      words: ["It met another change of the same thing. Choose what to keep; its photos "
        + "are still here: add them there, then discard this."],
    });
  }
  return keep({
    ...entry, state: result.outcome === "refused" ? "refused" : "held",
    words: result.words, target: result.target ?? "",
  });
}

// The roadside without signal: forms marked data-roadside are kept on the phone and sent
// once; the page says what waits; the service worker keeps the pages themselves. Without
// this script each is a plain form.

import {
  allEntries, entriesOf, entryOf, flush, forget, fresh, freshToken, heard,
  keep, open,
} from "./roadside_queue.js";

const meta = document.querySelector("meta[name=roadside-user], meta[name=roadside-at]");
const user = meta?.content ?? "";
const { worker, token: tokenUrl, list: listUrl, home: homeUrl, signIn: signInUrl } = meta?.dataset ?? {};
const keptAt = document.documentElement.dataset.keptAt;
const form = document.querySelector("form[data-roadside]");
const mending = "wimprog-roadside-mending";
const carrying = "wimprog-roadside-carrying";
const kinds = { visit: "Visit", test: "Electrical test", run: "Truck run" };

function make(tag, text = "", attributes = {}) {
  const element = document.createElement(tag);
  element.textContent = text;
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
}
const clockTime = (at) => new Date(at).toLocaleString("en-GB", {
  day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23",
});
const reasons = {
  "no signal": "There is no signal.",
  "no server": "The server does not answer.",
  "signed out": "You are signed out: sign in again, then send.",
  "somebody else": "Somebody else is signed in: only you can send what you typed.",
};

// --- what waits, on every page -------------------------------------------------------------
const banner = make("section", "", { class: "waiting message", id: "roadside-waiting", role: "status", "aria-live": "polite" });
banner.hidden = true;
const bannerCount = banner.appendChild(make("p")).appendChild(make("strong"));
bannerCount.after(" ", make("span", "", { class: "waiting-words" }));
const bannerWords = banner.querySelector(".waiting-words");
const bannerActs = banner.appendChild(make("p", "", { class: "form-actions" }));
const signIn = bannerActs.appendChild(make("a", "Sign in", { href: `${signInUrl}?next=${encodeURIComponent(listUrl)}`, class: "button" }));
signIn.after(" ");
const sendNow = bannerActs.appendChild(make("button", "Send now", { type: "button" }));
bannerActs.append(" ", make("a", "What waits", { href: listUrl ?? "" }));

const number = (count, one, many) => `${count} ${count === 1 ? one : many}`;
async function tell(why = "") {
  const entries = await entriesOf(user);
  const waiting = entries.filter((one) => one.state === "waiting");
  const stuck = entries.length - waiting.length;
  const strangers = (await allEntries()).length - entries.length;
  const told = [];
  if (waiting.length) told.push(`${number(waiting.length, "form waits", "forms wait")} to be sent.`);
  if (stuck) told.push(`${number(stuck, "form needs", "forms need")} you before ${stuck === 1 ? "it" : "they"} can be saved.`);
  bannerCount.textContent = told.join(" ");
  const words = [];
  if (why) words.push(reasons[why] ?? why);
  if (waiting.length) words.push("Kept on this phone until then.");
  if (strangers) words.push(`${number(strangers, "form", "forms")} of somebody else also kept here; only they can send.`);
  bannerWords.textContent = words.join(" ");
  banner.hidden = !entries.length && !strangers;
  sendNow.hidden = !waiting.length;
  signIn.hidden = why !== "signed out";
  if (document.getElementById("roadside-entries")) showEntries(entries);
}

// Asked while it sends, it sends once more afterwards: the signal may have come back in
// between. When that fails it tries again by itself, sooner at first.
let sending = false;
let onceMore = false;
let tries = 0;
let retry = 0;
async function sendWaiting(live = "") {
  if (sending && !live) { onceMore = true; return []; }
  sending = true;
  clearTimeout(retry);
  let results = [];
  try { results = await flush(user, tokenUrl, live); } catch { /* the store is busy: later */ }
  sending = false;
  const last = results.at(-1);
  const late = last?.outcome === "later";
  await tell(late ? last.why : "");
  tries = late ? tries + 1 : 0;
  if (onceMore) retry = setTimeout(() => sendWaiting(), 0);
  else if (late) retry = setTimeout(() => sendWaiting(), Math.min(2000 * 2 ** tries, 60000));
  onceMore = false;
  const told = results.filter((one) => one.outcome === "kept" && one.entry.id !== live);
  if (told.length) sayArrived(told);
  return results;
}
function sayArrived(results) {
  const note = make("div", "", { class: "message success roadside-arrived", role: "status" });
  for (const { entry, message, target, state } of results) {
    const line = note.appendChild(make("p"));
    line.append(make("a", nameOf(entry), { href: target }), state === "clash" ? " met another change. " : " has arrived. ", message ?? "");
  }
  banner.after(note);
}
const nameOf = (entry) => `${kinds[entry.form] ?? "Form"}: ${entry.title}`;

// --- the list page -------------------------------------------------------------------------
function showEntries(entries) {
  const place = document.getElementById("roadside-entries");
  place.replaceChildren();
  if (!entries.length) place.append(make("p", "Nothing waits on this phone."));
  for (const entry of entries) place.append(entryPart(entry));
}
function entryPart(entry) {
  const part = make("article", "", { class: "item", "data-entry": entry.id });
  part.append(make("h3", nameOf(entry)));
  const state = { waiting: "waits to be sent", refused: "not accepted yet: correct it", held: "not sent: it needs you" }[entry.state];
  part.append(make("p", `Typed ${clockTime(entry.at)} by this phone’s clock; ${state}.`));
  if (entry.words?.length) {
    const why = part.appendChild(make("ul", "", { class: "errors" }));
    for (const one of entry.words) why.append(make("li", one));
  }
  const inside = part.appendChild(make("details", "", { class: "behind" }));
  inside.append(make("summary", "What was typed"));
  const facts = inside.appendChild(make("dl", "", { class: "facts" }));
  for (const [name, value] of entry.shown) facts.append(make("dt", name), make("dd", value));
  const acts = part.appendChild(make("p", "", { class: "form-actions" }));
  const act = (words, does) => {
    const button = acts.appendChild(make("button", words, { type: "button" }));
    button.addEventListener("click", does);
  };
  if (entry.state === "waiting") act("Send now", () => sendWaiting());
  if (entry.target) acts.append(make("a", "Open what is kept", { href: entry.target, class: "button" }), " ");
  if (entry.state === "refused") act("Correct it", () => mend(entry));
  if (entry.state === "waiting") act("Change it", () => reopen(entry));
  if (entry.state === "held" && !entry.target) {
    act("Try again", async () => { await keep({ ...entry, state: "waiting", words: [] }); await sendWaiting(); });
  }
  act("Discard", () => ask(part, entry));
  return part;
}
function ask(part, entry) {
  if (part.querySelector(".discarding")) return;
  const sure = part.appendChild(make("p", "", { class: "discarding form-actions", role: "alert" }));
  sure.append(make("strong", "Discard for good? It is nowhere else."), " ");
  const yes = sure.appendChild(make("button", "Yes, discard it", { type: "button" }));
  const no = sure.appendChild(make("button", "No, keep it", { type: "button" }));
  yes.addEventListener("click", async () => { await forget(entry.id); await tell(); });
  no.addEventListener("click", () => sure.remove());
  no.focus();
}
async function showPages() {
  const place = document.getElementById("roadside-pages");
  if (!place || !("caches" in window)) return;
  const found = [];
  for (const name of await caches.keys()) {
    if (!name.startsWith("wimprog-roadside:") || !name.endsWith(`:${user}`)) continue;
    const cache = await caches.open(name);
    for (const asked of await cache.keys()) {
      const answer = await cache.match(asked);
      const at = answer.headers.get("x-kept-at");
      if (!at) continue;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      found.push({ address: asked.url, title: titleOf(page) || asked.url, at });
    }
  }
  const pages = found.filter((one) => new URL(one.address).pathname !== new URL(listUrl, location).pathname);
  if (!pages.length) { place.replaceChildren(make("p", "None yet.")); return; }
  const shown = make("ul");
  for (const { address, title, at } of pages.sort((a, b) => a.title.localeCompare(b.title))) {
    const line = shown.appendChild(make("li"));
    line.append(make("a", title, { href: address }), ` from ${clockTime(at)}`);
  }
  place.replaceChildren(shown);
}

// --- a form that is opened again ---------------------------------------------------------
// With signal: the form's own page, with its complaints beside the boxes.
async function mend(entry) {
  const { token, why } = await freshToken(user, tokenUrl);
  if (!token) { await (why === "no signal" ? reopen(entry) : tell(why)); return; }
  sessionStorage.setItem(mending, JSON.stringify({ id: entry.id, path: pathOf(entry.url), keep: true }));
  submitPlainly(entry, token);
}
// Without: the kept page, filled from what was typed.
function reopen(entry) {
  sessionStorage.setItem(mending, JSON.stringify({ id: entry.id, path: pathOf(entry.url), keep: true, fill: true }));
  location.assign(entry.url);
}
const pathOf = (address) => { const url = new URL(address, location); return url.pathname + url.search; };

function submitPlainly(entry, token) {
  const plain = make("form", "", { method: "post", action: entry.url, enctype: "multipart/form-data" });
  plain.hidden = true;
  const marks = [["csrfmiddlewaretoken", token], ["client_id", entry.id],
    ["typed_at", entry.typedAt], ["sent_at", new Date().toISOString()]];
  const own = entry.fields.filter(([name, value]) =>
    typeof value === "string" && !marks.some(([mark]) => mark === name));
  for (const [name, value] of [...own, ...marks]) {
    const box = make("textarea", "", { name });
    box.value = value;
    plain.append(box);
  }
  document.body.append(plain);
  plain.submit();
}

let adopted = null;  // the entry that the form on this page stands for
async function adopt() {
  const note = JSON.parse(sessionStorage.getItem(mending) ?? "null");
  sessionStorage.removeItem(mending);
  if (!form || note?.path !== pathOf(location.href)) return;
  const entry = await entryOf(note.id);
  if (!entry || entry.user !== user) return;
  if (note.fill && !fill(entry)) return;
  adopted = entry;
  const files = entry.fields.some(([, value]) => value instanceof File && value.size);
  // a refused form that is before somebody's eyes is in its page again, not in a list
  if (!note.keep && !files && document.getElementById("error-summary")) await forget(entry.id);
}
function fill(entry) {
  const typed = entry.fields.filter(([, value]) => typeof value === "string");
  const known = new Set([...form.elements].map((box) => box.name));
  if (typed.some(([name]) => !known.has(name) && name !== "next")) {
    form.before(make("p", "This form has rows that cannot be opened again without signal. What you typed is kept; change it once it has arrived.", { class: "message warning", role: "alert" }));
    form.hidden = true;
    return false;
  }
  put(typed);
  return true;
}
const envelope = ["csrfmiddlewaretoken", "client_id", "typed_at", "sent_at", "seen_version"];
function put(fields) {
  const values = new Map();
  for (const [name, value] of fields) values.set(name, [...(values.get(name) ?? []), value]);
  for (const box of form.elements) {
    if (!box.name || envelope.includes(box.name) || ["submit", "button", "file"].includes(box.type)) continue;
    const held = values.get(box.name);
    if (["checkbox", "radio"].includes(box.type)) box.checked = held?.includes(box.value) ?? false;
    else if (box.type === "select-multiple") for (const one of box.options) one.selected = held?.includes(one.value) ?? false;
    else if (held) box.value = held.shift() ?? "";
  }
}

// --- a kept page is older than its clock ---------------------------------------------------
// The time that the server wrote into an empty form is the time it was kept; put the
// phone's own there, in the site's zone, or nothing.
function setNow() {
  if (!keptAt || !form?.dataset.now || adopted) return;
  for (const name of form.dataset.now.split(" ")) {
    const box = form.elements[name];
    if (!box) continue;
    box.value = nowIn(form.dataset.zone, box.step === "1");
    box.after(make("span", form.dataset.zone ? " by this phone’s clock" : "", { class: "quiet" }));
  }
}
function nowIn(zone, seconds) {
  if (!zone) return "";
  const parts = Object.fromEntries(new Intl.DateTimeFormat("en-CA", {
    timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit",
    hour: "2-digit", minute: "2-digit", second: "2-digit",
  }).formatToParts(new Date()).map(({ type, value }) => [type, value]));
  const minutes = `${parts.year}-${parts.month}-${parts.day}T${parts.hour}:${parts.minute}`;
  return seconds ? `${minutes}:${parts.second}` : minutes;
}
// The next truck run begins with what the one before had.
function carry() {
  const note = JSON.parse(sessionStorage.getItem(carrying) ?? "null");
  sessionStorage.removeItem(carrying);
  if (!note || note.path !== location.pathname || adopted) return;
  for (const [name, value] of note.fields) {
    for (const box of form.querySelectorAll(`[name="${CSS.escape(name)}"]`)) {
      if (box.type === "radio") box.checked = box.value === value;
      else box.value = value;
    }
  }
}

// --- saving --------------------------------------------------------------------------------
// Names and values as people read them, for the list of what waits.
function shownOf(fields) {
  const shown = [];
  for (const [name, value] of fields) {
    if (envelope.includes(name) || name === "next") continue;
    if (value instanceof File) { if (value.size) shown.push(["Photo", value.name]); continue; }
    if (!value.trim()) continue;
    const found = form.elements[name];
    const box = found instanceof RadioNodeList
      ? [...found].find((one) => one.value === value) ?? found[0] : found;
    if (!box || box.type === "hidden") continue;
    // a choice in a fold that stands as it came says nothing
    if (box.tagName === "SELECT" && box.closest("details") && box.selectedOptions[0]?.defaultSelected) continue;
    const group = box.closest("fieldset")?.querySelector("legend")?.textContent;
    const label = box.labels?.[0]?.textContent ?? name;
    const single = box.type === "radio" || box.type === "checkbox";
    const words = box.tagName === "SELECT" ? box.selectedOptions[0]?.textContent ?? value
      : single ? label : value.replace("T", box.type === "datetime-local" ? " " : "T");
    const title = single && group ? group : label;
    shown.push([title.replace("(optional)", "").trim().replace(/\s+/g, " "), words.trim()]);
  }
  return shown;
}
const atOnce = make("p", "", { class: "at-once", role: "status" });
let saving = false;
async function save(submitter) {
  if (saving) return;
  saving = true;
  atOnce.textContent = "Saving …";
  form.append(atOnce);
  const fields = [...new FormData(form, submitter).entries()]
    .filter(([name, value]) => !envelope.includes(name) || (name === "seen_version" && value));
  for (const [name, value] of adopted?.fields ?? []) {
    if (value instanceof File && value.size && !fields.some(([own, file]) => own === name && file.size)) fields.push([name, value]);
  }
  const entry = {
    id: adopted?.id ?? fresh(), user, form: form.dataset.roadside, title: titleOf(document),
    url: form.action, fields, shown: shownOf(fields), at: Date.now(),
    typedAt: new Date().toISOString(), state: "waiting",
  };
  try { await keep(entry); } catch { saving = false; form.submit(); return; }
  const results = await sendWaiting(entry.id);
  const own = results.find((one) => one.entry.id === entry.id && one.outcome !== "later");
  if (own?.outcome === "kept") { location.assign(own.target); return; }
  if (own?.outcome === "refused") { await showRefused(entry); return; }
  if (own) { location.assign(listUrl); return; }
  sayKept(entry, submitter, results.at(-1)?.why);
}
// 422 made nothing, so the plain form may be sent again: its page shows what is wrong.
async function showRefused(entry) {
  const { token } = await freshToken(user, tokenUrl);
  if (!token) { sayKept(entry, null, "no signal"); return; }
  sessionStorage.setItem(mending, JSON.stringify({ id: entry.id, path: pathOf(entry.url) }));
  submitPlainly(entry, token);
}
// What the page is about: its heading, what stands under it, and where it belongs.
function titleOf(page) {
  const words = [...page.querySelectorAll(".page-head > div:first-child > *"), ...page.querySelectorAll(".crumbs li:last-child a")];
  return words.map((one) => one.textContent.trim().replace(/\s+/g, " ")).filter(Boolean).join(", ");
}

function sayKept(entry, submitter, why) {
  const note = make("section", "", { class: "message success", id: "roadside-kept", role: "status", tabindex: "-1" });
  note.append(make("p", `Kept on this phone at ${clockTime(entry.at)}, not sent yet. ${reasons[why] ?? ""} It is sent once, by itself, when there is signal and a roadside page is open.`));
  const acts = note.appendChild(make("p", "", { class: "form-actions" }));
  const again = navigator.serviceWorker?.controller && !entry.fields.some(([name]) => name === "seen_version");
  const next = form.action;
  if (again && submitter?.name === "next") {
    const names = (form.dataset.carry ?? "").split(" ");
    const carried = entry.fields.filter(([name]) => names.includes(name));
    sessionStorage.setItem(carrying, JSON.stringify({ path: pathOf(next).split("?")[0], fields: carried }));
    location.assign(next);
    return;
  }
  if (again) acts.append(make("a", "Type another one", { href: next, class: "button" }), " ");
  acts.append(make("a", "What waits", { href: listUrl, class: "button" }), " ", make("a", "Roadside", { href: homeUrl }));
  banner.after(note);
  form.hidden = true;
  note.focus();
  note.scrollIntoView({ block: "center" });
}

// --- the worker ----------------------------------------------------------------------------
async function register() {
  if (!("serviceWorker" in navigator) || !worker) return;
  try {
    await navigator.serviceWorker.register(`${worker}?user=${user}`, { scope: "/", updateViaCache: "none" });
    const ready = await navigator.serviceWorker.ready;
    if (!ready.active || keptAt) return;
    navigator.serviceWorker.addEventListener("message", (event) => {
      if (typeof event.data?.kept === "number") document.documentElement.dataset.pagesKept = event.data.kept;
      showPages();
    });
    const here = meta.name === "roadside-user" && document.querySelector("#error-summary") === null ? [location.href] : [];
    const linked = [...document.querySelectorAll("a[data-keep]")].map((link) => link.href);
    ready.active.postMessage({ keep: [listUrl, homeUrl, ...here, ...linked] });
  } catch { /* a browser that may not keep pages still keeps what is typed */ }
}

// --- start ---------------------------------------------------------------------------------
async function start() {
  document.querySelector(".page-head")?.after(banner);
  sendNow.addEventListener("click", () => sendWaiting());
  await adopt();
  if (form) { carry(); setNow(); }
  form?.addEventListener("submit", (event) => {
    event.preventDefault();
    save(event.submitter);
  });
  window.addEventListener("online", () => sendWaiting());
  heard?.addEventListener("message", () => tell());
  document.addEventListener("visibilitychange", () => { if (!document.hidden) sendWaiting(); });
  await tell();
  document.documentElement.dataset.roadside = "ready";
  showPages();
  await sendWaiting();
  await register();
}
// without a place to keep what is typed (a private window) every form stays a plain form
if (user && "indexedDB" in window) open().then((db) => { db.close(); return start(); }, register);

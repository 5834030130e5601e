// A stage of an installation record: judge while typing, save each answer by itself,
// and keep on the phone what could not be sent. Without this script every item is a
// plain form.

const queueName = "wimprog-record";
const store = "waiting";
const waiting = document.getElementById("waiting");
const recordId = waiting?.dataset.record;
const userId = waiting?.dataset.user;

// --- what waits to be sent, on the phone --------------------------------------------
function open() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(queueName, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(store, { keyPath: "id" });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}
async function within(mode, work) {
  const db = await open();
  try {
    return await new Promise((resolve, reject) => {
      const change = db.transaction(store, mode);
      const asked = work(change.objectStore(store));
      change.oncomplete = () => resolve(asked.result);
      change.onerror = () => reject(change.error);
      change.onabort = () => reject(change.error);
    });
  } finally { db.close(); }
}
const keep = (entry) => within("readwrite", (rows) => rows.put(entry));
const forget = (id) => within("readwrite", (rows) => rows.delete(id));
async function kept() {
  const all = await within("readonly", (rows) => rows.getAll());
  return all.filter((entry) => entry.user === userId).sort((a, b) => a.at - b.at);
}

async function tell(words = "") {
  const entries = await kept();
  const count = entries.length;
  waiting.hidden = count === 0;
  waiting.querySelector(".waiting-count").textContent =
    count === 1 ? "1 answer waits to be sent." : `${count} answers wait to be sent.`;
  const elsewhere = entries.filter((entry) => entry.record !== recordId).length;
  waiting.querySelector(".waiting-words").textContent =
    words || (elsewhere ? `${elsewhere} of them belong to another record. ` : "")
      + "They are kept on this phone until then.";
}

// --- sending ---------------------------------------------------------------------------
function token() {
  return document.querySelector("input[name=csrfmiddlewaretoken]")?.value ?? "";
}
function fresh() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

// "sent" with the new item; "refused" with it; "later" when there is no way through.
async function send(entry) {
  const body = new FormData();
  for (const [name, value] of entry.fields) body.append(name, value);
  body.set("csrfmiddlewaretoken", token());
  let answer;
  try {
    answer = await fetch(entry.url, {
      method: "POST", body, headers: { "X-Answer": "fragment" }, redirect: "manual",
    });
  } catch { return { outcome: "later" }; }
  if (answer.status === 200 || answer.status === 422) {
    return {
      outcome: answer.status === 200 ? "sent" : "refused", html: await answer.text(),
    };
  }
  // signed out, server down, page too old: never thrown away
  return { outcome: "later", status: answer.status };
}

function place(html, entry) {
  const holder = document.createElement("template");
  holder.innerHTML = html;
  const item = holder.content.firstElementChild;
  const old = item && document.getElementById(item.id);
  if (!old) return null;
  const active = document.activeElement;
  const back = old.contains(active) && active.id;
  old.replaceWith(item);
  if (back) {
    const box = document.getElementById(back);
    const shown = box?.closest("details:not([open])")?.querySelector("summary") ?? box;
    shown?.focus({ preventScroll: true });
  }
  if (entry?.refused) item.classList.add("refused");
  return item;
}

let flushing = false;
async function flush() {
  if (flushing) return;
  flushing = true;
  try {
    for (const entry of await kept()) {
      const { outcome, html, status } = await send(entry);
      if (outcome === "later") {
        await tell(status === 0 || status === 403
          ? "Sign in again in another tab, then send." : "");
        return;
      }
      await forget(entry.id);
      if (outcome === "refused") {
        // nothing typed is lost: the page shows it again with what is wrong
        place(html, { refused: true });
        restore(entry);
      } else if (!dirty(entry.item)) place(html);
    }
    await tell();
  } finally { flushing = false; }
}

function dirty(itemId) {
  return document.querySelector(`#item-${itemId} form[data-changed]`) !== null;
}

// A refused answer goes back into its boxes.
function restore(entry) {
  const form = document.querySelector(`#item-${entry.item} form[data-answer]`);
  if (!form) return;
  const numbers = entry.fields.filter(([name]) => name === "number");
  form.querySelectorAll("input[name=number]").forEach((box, place) => {
    if (numbers[place]) box.value = numbers[place][1];
  });
  for (const [name, value] of entry.fields) {
    if (!["answer", "reason"].includes(name) || typeof value !== "string") continue;
    const box = form.elements[name];
    if (!box) continue;
    box.value = value;
  }
}

// What a form says, without what differs each time that it is sent.
function said(fields) {
  return JSON.stringify(fields
    .filter(([name]) => name !== "client_id" && name !== "observed_at")
    .map(([name, value]) => value instanceof File
      ? [name, value.name, value.size, value.lastModified] : [name, value]));
}

async function submit(form) {
  const item = form.closest("[data-item]").dataset.item;
  const fields = [...new FormData(form).entries()]
    .filter(([name]) => name !== "csrfmiddlewaretoken")
    .map(([name, value]) => {
      if (name === "client_id") return [name, fresh()];
      if (name === "observed_at") return [name, new Date().toISOString()];
      return [name, value];
    });
  if (form.matches("[data-photo]") && !form.elements.photo.files.length) return;
  // Enter in a box is a change and a submission of the same answer: it is kept once
  const content = said(fields);
  if (form.dataset.said === content) return;
  form.dataset.said = content;
  const note = form.querySelector(".at-once");
  note.textContent = "saving …";
  delete form.dataset.changed;
  const entry = {
    id: fields.find(([name]) => name === "client_id")[1],
    record: recordId, user: userId, item, url: form.action, fields, at: Date.now(),
  };
  await keep(entry);
  if ((await kept()).length > 1) { await flush(); await tell(); return; }
  const { outcome, html } = await send(entry);
  if (outcome === "later") {
    const late = entry.fields.filter(([name]) => name !== "source");
    late.push(["source", "typed without signal, sent later"]);
    await keep({ ...entry, fields: late });
    note.textContent = "kept on this phone, not sent yet";
    await tell();
    return;
  }
  await forget(entry.id);
  place(html, { refused: outcome === "refused" });
  if (outcome === "refused") restore(entry);
  await tell();
}

// --- judged while it is typed -------------------------------------------------------------
function readNumber(text) {
  const bare = text.trim().replace(/^[>≥]\s*/, "").replace(/[\s\u00a0]/g, "").replace("−", "-");
  if (/^[+-]?\d{1,3}(,\d{3})+(\.\d+)?$/.test(bare)) return Number(bare.replaceAll(",", ""));
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(bare) ? Number(bare) : NaN;
}
function judge(form) {
  const note = form.querySelector(".at-once");
  const texts = [...form.querySelectorAll("input[name=number]")].map((box) => box.value)
    .filter((text) => text.trim());
  if (!texts.length) { note.textContent = ""; return; }
  const numbers = texts.map(readNumber);
  const bad = numbers.findIndex(Number.isNaN);
  if (bad >= 0) { note.textContent = `“${texts[bad]}” is not a number`; return; }
  const { low, high, range } = form.dataset;
  if (low === undefined && high === undefined && range === undefined) {
    note.textContent = "not saved yet"; return;
  }
  const over = texts.some((text) => /^\s*[>≥]/.test(text));
  const within = numbers.every((n) => (low === undefined || n >= Number(low))
      && (high === undefined || n <= Number(high) || over))
    && (range === undefined || Math.max(...numbers) - Math.min(...numbers) <= Number(range) + 1e-9);
  note.textContent = within ? "within limits, not saved yet" : "out of limits, not saved yet";
}

const items = document.querySelector("[data-items]");
function start() {
  items.addEventListener("input", (event) => {
    const form = event.target.closest("form[data-answer]");
    if (!form) return;
    form.dataset.changed = "";
    judge(form);
  });
  // an answer saves itself when it is done with, a series when its last box is filled;
  // a series that is corrected waits for the button
  items.addEventListener("change", (event) => {
    const form = event.target.closest("form[data-answer]");
    if (!form || event.target.name === "reason" || event.target.name === "instrument") return;
    const boxes = [...form.querySelectorAll("input[name=number]")];
    const whole = boxes.every((box) => box.value.trim());
    const needs = form.elements.instrument && !form.elements.instrument.value;
    if (boxes.length && (!whole || needs)) return;
    if (boxes.length > 1 && form.elements.seen.value !== "0") return;
    form.requestSubmit();
  });
  items.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-answer], form[data-photo]");
    if (!form) return;
    event.preventDefault();
    submit(form);
  });
  waiting.querySelector(".send-now").addEventListener("click", flush);
  window.addEventListener("online", flush);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
  window.addEventListener("beforeunload", (event) => {
    if (items.querySelector("form[data-changed]")) event.preventDefault();
  });
  setInterval(() => { if (!waiting.hidden) flush(); }, 20000);
  tell().then(flush);
}

// without a place to keep answers (a private window) every item stays a plain form
if (items && waiting && "indexedDB" in window) open().then((db) => { db.close(); start(); }, () => {});

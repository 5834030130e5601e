/* One keystroke a decision on the review list. Without this the buttons do the same. */
(() => {
  "use strict";
  const runs = () => [...document.querySelectorAll("[data-run]")];
  const help = document.querySelector("[data-keys]");
  if (help) help.hidden = false;
  const PLACE = "review-place";
  let at = Number(sessionStorage.getItem(PLACE) || -1);
  sessionStorage.removeItem(PLACE);

  const go = (place) => {
    const all = runs();
    if (!all.length) return;
    at = Math.min(Math.max(place, 0), all.length - 1);
    all[at].focus();
    all[at].scrollIntoView({ block: "nearest" });
  };
  const current = () => {
    const held = document.activeElement.closest("[data-run]");
    if (held) at = runs().indexOf(held);
    return runs()[at] || null;
  };
  const press = (holder, selector) => {
    const button = holder && holder.querySelector(selector);
    if (!button) return;
    sessionStorage.setItem(PLACE, String(Math.max(at, 0)));
    button.click();
  };
  if (at >= 0) go(at);

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
    if (event.target.closest("input, textarea, select, [contenteditable]")) return;
    const acts = {
      j: () => { current(); go(at + 1); },
      k: () => { current(); go(at - 1); },
      a: () => press(current(), '[value="accepted"]'),
      s: () => press(current(), '[value="set aside"]'),
      e: () => press(current(), "[data-evidence]"),
      u: () => press(document, "[data-undo]"),
    };
    const act = acts[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });
})();

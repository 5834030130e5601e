// What the pages gain with JavaScript; everything works without it.

// A form marked data-guard asks before typed text is lost.
for (const form of document.querySelectorAll("form[data-guard]")) {
  let changed = false;
  form.addEventListener("input", () => { changed = true; });
  form.addEventListener("submit", () => { changed = false; });
  window.addEventListener("beforeunload", (event) => {
    if (changed) event.preventDefault();
  });
}

// A refused form puts the reader on the list of what to mend.
document.getElementById("error-summary")?.focus();

// The open menu of the signed-in person closes on Escape and on a click elsewhere.
const user = document.querySelector("details.user");
if (user) {
  document.addEventListener("click", (event) => {
    if (!user.contains(event.target)) user.open = false;
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && user.open) {
      user.open = false;
      user.querySelector("summary").focus();
    }
  });
}

// A part of a page marked data-refresh="URL" data-every="2" is fetched again until its
// new text is no longer marked.
async function refresh(part) {
  try {
    const answer = await fetch(part.dataset.refresh, { headers: { "HX-Request": "true" } });
    if (answer.ok && !answer.redirected) {
      const holder = document.createElement("template");
      holder.innerHTML = await answer.text();
      const fresh = holder.content.firstElementChild;
      if (fresh) { part.replaceWith(fresh); watch(fresh); return; }
    }
  } catch { /* no network: try again */ }
  watch(part);
}
function watch(part) {
  if (!part.dataset.refresh) return;
  setTimeout(() => refresh(part), 1000 * Number(part.dataset.every || 2));
}
document.querySelectorAll("[data-refresh]").forEach(watch);

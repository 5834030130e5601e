// The budget slider sends its form when it is let go; without this, the button does.
for (const form of document.querySelectorAll("form[data-slide]")) {
  const slide = form.querySelector("input[type=range]");
  const shown = form.querySelector("output");
  slide.addEventListener("input", () => {
    shown.value = Number(slide.value).toLocaleString("en-US");
  });
  slide.addEventListener("change", () => form.requestSubmit());
}

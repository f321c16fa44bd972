// Small helps that the pages work without.

// "Copy" buttons: the text stands in the page already.
document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-copy]");
  if (!button) return;
  const source = document.querySelector(button.dataset.copy);
  const said = document.querySelector(button.dataset.said);
  try {
    await navigator.clipboard.writeText(source.textContent);
    said.textContent = "Copied.";
  } catch {
    const range = document.createRange();
    range.selectNodeContents(source);
    getSelection().removeAllRanges();
    getSelection().addRange(range);
    said.textContent = "Marked: copy it with your keyboard.";
  }
});

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
});

// What only a script can do is hidden from those without one.
for (const element of document.querySelectorAll("[data-needs-script]")) element.hidden = false;
for (const element of document.querySelectorAll("[data-without-script]")) element.hidden = true;
document.addEventListener("htmx:afterSwap", (event) => {
  for (const element of event.target.querySelectorAll("[data-needs-script]")) element.hidden = false;
  for (const element of event.target.querySelectorAll("[data-without-script]")) element.hidden = true;
  // After an answer has been put in, reading goes on at its heading.
  const heading = event.target.querySelector("[data-focus]");
  if (heading) heading.focus();
});

// A form that is sent again at each change says so with data-live; the button stays for those without a script.
document.addEventListener("change", (event) => {
  const form = event.target.closest("form[data-live]");
  if (form) form.requestSubmit();
});

// A box that narrows a list as one types.
for (const list of document.querySelectorAll("[data-narrow]")) {
  const items = [...document.querySelectorAll(list.dataset.narrow)];
  const said = document.querySelector(list.dataset.said);
  list.addEventListener("input", () => {
    const wanted = list.value.trim().toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const item of items) {
      const text = item.textContent.toLowerCase();
      item.hidden = !wanted.every((word) => text.includes(word));
      if (!item.hidden) shown += 1;
    }
    said.textContent = wanted.length ? `${shown} of ${items.length}` : "";
  });
}

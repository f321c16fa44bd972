// Enter: choose a place, count or fill in, keep it on the phone, send it when there is a signal.
// Every tap is on disk before the next one; text reaches the page as text only.

const body = document.body;
const [queue, tally, position] = await Promise.all(
  [body.dataset.queue, body.dataset.tally, body.dataset.position].map((address) => import(address)),
);
const $ = (id) => document.getElementById(id);
const screen = $("screen");
let data = null;
let draft = null;

// ---- building the page

function h(tag, attributes, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return element;
}
function svg(tag, attributes, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}
const button = (text, onclick, attributes = {}) => h("button", { type: "button", onclick, ...attributes }, text);

function show(title, ...children) {
  listed = null;
  $("screen-title").textContent = title;
  screen.replaceChildren(...children.flat().filter(Boolean));
  window.scrollTo(0, 0);
  if (body.dataset.ready) $("screen-title").focus({ preventScroll: true });
}
const farmName = (place) => data.farms[place.farm] ?? "";
const placeName = (place) => [farmName(place), place.name].filter(Boolean).join(": ");
const placeOf = (id) => data.places.find((p) => p.id === id);
const kindOf = (name) => data.kinds.find((k) => k.name === name);

// ---- places

async function start() {
  draft = null;
  const drafts = await queue.all("drafts");
  const list = h("ul", { class: "choices", id: "place-list" });
  const said = h("p", { role: "status", class: "small" });
  const find = h("input", { type: "search", id: "find", autocomplete: "off", enterkeyhint: "search" });
  const entry = (place, note) => h("li", {}, h("button", { type: "button", onclick: () => choosePlace(place) },
    h("span", {}, place.name, h("br"), h("small", {}, [farmName(place), place.crop ?? place.kind].filter(Boolean).join(", "))),
    note ? h("small", {}, note) : null));
  const narrow = () => {
    const words = find.value.trim().toLowerCase().split(/\s+/).filter(Boolean);
    const found = data.places.filter((p) => words.every((w) => `${p.name} ${farmName(p)} ${p.crop ?? ""} ${p.kind}`.toLowerCase().includes(w)));
    list.replaceChildren(...found.slice(0, 40).map((p) => entry(p)));
    said.textContent = found.length > 40 ? `${found.length} places; type to narrow.` : found.length ? "" : "No place like that is on this phone.";
  };
  find.addEventListener("input", narrow);
  const near = () => {
    said.textContent = "Finding where this phone is.";
    navigator.geolocation.getCurrentPosition(
      (at) => {
        const found = position.nearest(data.places, at.coords);
        list.replaceChildren(...found.map((f) => entry(f.place, position.sayDistance(f.metres))));
        said.textContent = found.length
          ? `Nearest first; the position is good to about ${Math.round(at.coords.accuracy * 1.09361)} yards.`
          : "No place has a position on file; choose from the list.";
      },
      (error) => { said.textContent = error.code === 1 ? "This phone keeps its position to itself; choose from the list." : "No position can be had here; choose from the list."; },
      { enableHighAccuracy: true, timeout: 15000, maximumAge: 30000 },
    );
  };
  show("Where are you?", signInPart(),
    drafts.length ? h("section", { "aria-label": "Begun and not finished" }, h("h2", {}, "Begun and not finished"),
      h("ul", { class: "choices" }, drafts.map((d) => h("li", {}, h("button", { type: "button", onclick: () => goOn(d) },
        h("span", {}, placeOf(d.place)?.name ?? d.place ?? "No place", h("br"), h("small", {}, `${kindOf(d.kind)?.title ?? d.kind}${counted(d)}`))))))) : null,
    h("div", { class: "row" }, "geolocation" in navigator ? button("By where I stand", near) : null,
      button("No place in particular", () => choosePlace(null))),
    h("div", { class: "box" }, h("label", { for: "find" }, "Or find it by name"), find), said, list,
    h("p", {}, h("a", { href: "/enter/by-hand" }, "Enter by hand, with a signal")));
  narrow();
}
function counted(d) {
  const n = Object.values(d.counts ?? {}).reduce((sum, list) => sum + list.length, 0);
  return n ? `, ${n} counted` : "";
}

function choosePlace(place) {
  const fitting = data.kinds.filter((k) => (place ? !k.places.length || k.places.includes(place.kind) : !k.places.length));
  const withLines = new Set(place ? data.lines.filter((l) => l.place === place.id).map((l) => l.kind) : []);
  fitting.sort((a, b) => withLines.has(b.name) - withLines.has(a.name));
  show(place ? placeName(place) : "No place in particular", h("h2", {}, "What have you seen?"),
    fitting.length ? h("ul", { class: "choices" }, fitting.map((k) => h("li", {}, h("button", { type: "button", onclick: () => begin(place, k) },
      h("span", {}, k.title), withLines.has(k.name) ? h("small", {}, "with stop lines") : null)))) : h("p", {}, "Nothing is entered at such a place by phone."),
    h("div", { class: "row" }, button("Another place", start)));
}

// ---- one entry

async function begin(place, kind) {
  draft = { id: queue.mint(), place: place?.id ?? null, kind: kind.name, values: {}, units: {}, counts: {}, current: {}, back: [], photo: null, begun_at: queue.localTime(), seen_at: seenNow() };
  for (const field of kind.fields) if (field.kind === "counts") { draft.counts[field.name] = []; draft.current[field.name] = 0; }
  const last = await queue.get("kept", "last values");
  for (const name of ["stage"]) if (last?.value?.[draft.place]?.[name]) draft.values[name] = last.value[draft.place][name];
  await save();
  page();
}
async function goOn(found) { draft = found; page(); }
// A desk that was told its day (a demonstration) takes what is entered as seen on that day.
const seenNow = () => (data.day ? data.day + queue.localTime().slice(10) : queue.localTime());
let saving = Promise.resolve();
function save() {
  const copy = structuredClone(draft);
  saving = saving.then(() => queue.put("drafts", copy)).catch(storageFailed);
  return saving;
}
function storageFailed() {
  $("waits-text").textContent = "This phone has no room left: write it down, then free some.";
}

function lineFor(field) {
  const plan = data.lines.find((l) => l.place === draft.place && l.kind === draft.kind && l.field === field.name);
  return plan ? plan.by[draft.values.stage ?? ""] ?? plan.by[""] ?? null : null;
}

function page() {
  const kind = kindOf(draft.kind);
  const place = placeOf(draft.place);
  if (!kind) { show("Not on this phone", h("p", {}, "The desk no longer takes this kind of entry. It is kept; export it under what waits."), button("Back", start)); return; }
  const counts = kind.fields.filter((f) => f.kind === "counts");
  const others = kind.fields.filter((f) => f.kind !== "counts");
  const parts = [h("p", { class: "small" }, place ? placeName(place) : "No place in particular")];
  const stage = others.find((f) => f.name === "stage");
  if (stage && counts.length) parts.push(box(stage, () => counts.forEach((f) => renderTally(f))));
  if (counts.length === 1) parts.push(tallyPart(counts[0], kind.nouns[counts[0].name]));
  else for (const field of counts) parts.push(h("details", { open: draft.counts[field.name].length > 0 }, h("summary", {}, field.label), tallyPart(field, kind.nouns[field.name])));
  const rest = others.filter((f) => f !== stage || !counts.length);
  const boxes = rest.map((f) => box(f));
  if (boxes.length) parts.push(counts.length ? h("details", {}, h("summary", {}, "More of what you see"), boxes) : h("div", {}, boxes));
  parts.push(photoPart(), whenPart(), h("p", { class: "wrong-line", role: "alert", id: "cannot" }),
    h("div", { class: "row" }, button("Done: keep it", finish, { class: "first" }), button("Later", start), button("Throw away", throwAway)));
  show(kind.title, parts);
  counts.forEach((f) => renderTally(f));
}

// A tally: what is under the thumb is the unit now looked at; nothing moves when a number grows.
function tallyPart(field, noun) {
  const id = `tally-${field.name}`;
  const add = (by) => button(`+${by}`, () => tap(field, by), { "aria-label": `add ${by}` });
  const typed = h("input", { type: "text", inputmode: "numeric", enterkeyhint: "next", id: `${id}-type`, autocomplete: "off" });
  typed.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    const value = Number(typed.value.trim());
    if (!/^\d{1,6}$/.test(typed.value.trim())) { typed.setAttribute("aria-invalid", "true"); return; }
    typed.removeAttribute("aria-invalid");
    typed.value = "";
    remember(field);
    draft.current[field.name] = value;
    close(field);
  });
  return h("section", { id, "data-noun": noun, "aria-label": field.help },
    h("p", { class: "hint" }, field.help),
    h("div", { class: "now" }, h("output", { class: "now-count", id: `${id}-now`, "aria-live": "off" }, "0"), h("span", { class: "now-unit", id: `${id}-unit` })),
    h("div", { class: "pads" }, add(1), add(5), add(10), add(50)),
    h("div", { class: "on" }, button("Undo", () => undo(field), { id: `${id}-undo` }), button("Next", () => { remember(field); close(field); }, { id: `${id}-next`, class: "first" })),
    h("div", { class: "verdict-strip", id: `${id}-strip`, role: "status" }, h("b", {}), h("span", {})),
    svg("svg", { class: "strip-picture", id: `${id}-picture`, viewBox: "0 0 100 40", preserveAspectRatio: "none", "aria-hidden": "true" },
      svg("path", { class: "below" }), svg("path", { class: "above" }), svg("path", { class: "walk" })),
    h("p", { class: "counted", id: `${id}-list` }),
    h("details", {}, h("summary", {}, "Type the numbers instead"), h("div", { class: "box" }, h("label", { for: `${id}-type` }, `What is on the next ${noun}, then Enter`), typed)));
}
function remember(field) {
  draft.back.push({ field: field.name, current: draft.current[field.name], n: draft.counts[field.name].length });
  if (draft.back.length > 500) draft.back.shift();
}
function tap(field, by) {
  remember(field);
  draft.current[field.name] += by;
  renderTally(field);
  save();
}
function close(field) {
  draft.counts[field.name].push(draft.current[field.name]);
  draft.current[field.name] = 0;
  renderTally(field);
  save();
}
function undo(field) {
  for (let i = draft.back.length - 1; i >= 0; i -= 1) {
    const step = draft.back[i];
    if (step.field !== field.name) continue;
    draft.back.splice(i, 1);
    draft.counts[field.name].length = step.n;
    draft.current[field.name] = step.current;
    break;
  }
  renderTally(field);
  save();
}
function renderTally(field) {
  const id = `tally-${field.name}`;
  const part = $(id);
  if (!part) return;
  const noun = part.dataset.noun;
  const counts = draft.counts[field.name];
  const current = draft.current[field.name];
  const line = lineFor(field);
  const result = tally.judge(counts, line);
  const words = tally.say(result, noun, Boolean(line));
  $(`${id}-now`).textContent = current;
  $(`${id}-unit`).textContent = `on ${noun} ${counts.length + 1}`;
  $(`${id}-next`).textContent = current ? `Next ${noun}` : `None on it, next ${noun}`;
  $(`${id}-undo`).disabled = !draft.back.some((step) => step.field === field.name);
  const strip = $(`${id}-strip`);
  strip.classList.toggle("enough", Boolean(result.side));
  if (strip.dataset.n !== String(counts.length) || strip.dataset.line !== String(line)) {
    strip.dataset.n = counts.length;
    strip.dataset.line = String(line);
    strip.firstChild.textContent = words.head;
    strip.lastChild.textContent = words.line;
  }
  const drawn = tally.path(counts, line);
  for (const name of ["below", "above", "walk"]) $(`${id}-picture`).querySelector(`.${name}`).setAttribute("d", drawn[name]);
  $(`${id}-list`).textContent = counts.length ? counts.join(", ") : "";
}

// ---- other fields

function box(field, changed) {
  const id = `v-${field.name}`;
  const keep = (value) => { if (value === "") delete draft.values[field.name]; else draft.values[field.name] = value; save(); changed?.(); };
  const hint = h("p", { class: "hint", id: `${id}-hint` }, `${field.help[0].toUpperCase()}${field.help.slice(1)}.`);
  const need = field.required ? null : h("span", { class: "need" }, " if known");
  const choices = field.kind === "flag" ? ["yes", "no"] : field.choices;
  if (choices && choices.length <= 5) {
    return h("fieldset", { class: "box", "aria-describedby": `${id}-hint` }, h("legend", {}, field.label, need), hint,
      h("div", { class: "ticks" }, [...choices, ...(field.required ? [] : [""])].map((choice) => {
        const input = h("input", { type: "radio", name: id, value: choice, onchange: () => keep(choice) });
        input.checked = (draft.values[field.name] ?? "") === choice;
        return h("label", {}, input, choice || "not known");
      })));
  }
  let input;
  if (choices) {
    input = h("select", { id, "aria-describedby": `${id}-hint`, onchange: (e) => keep(e.target.value) }, ["", ...choices].map((c) => h("option", { value: c }, c || "not known")));
  } else {
    const numeric = field.kind === "number" || field.kind === "share";
    input = h("input", { id, "aria-describedby": `${id}-hint`, autocomplete: "off", type: field.kind === "date" ? "date" : "text", inputmode: numeric ? "decimal" : false, enterkeyhint: "next", oninput: (e) => keep(e.target.value.trim()) });
  }
  input.value = draft.values[field.name] ?? "";
  const units = field.kind === "share" ? ["%"] : field.units ?? [];
  let unit = null;
  if (units.length === 1) { unit = h("span", { class: "unit-word" }, units[0]); draft.units[field.name] = units[0]; }
  if (units.length > 1) {
    unit = h("select", { "aria-label": `Unit of ${field.label.toLowerCase()}`, onchange: (e) => { draft.units[field.name] = e.target.value; save(); } }, units.map((u) => h("option", { value: u }, u || "unit?")));
    draft.units[field.name] ??= units[0];
    unit.value = draft.units[field.name];
  }
  return h("div", { class: "box" }, h("label", { for: id }, field.label, need), hint, h("div", { class: "pair" }, input, unit));
}

function photoPart() {
  const part = h("details", { open: Boolean(draft.photo) }, h("summary", {}, "Photo"));
  const said = h("p", { role: "status", class: "small" });
  const shown = h("div");
  const note = h("input", { id: "photo-note", type: "text", maxlength: "300", oninput: (e) => { if (draft.photo) { draft.photo.note = e.target.value.trim(); save(); } } });
  note.value = draft.photo?.note ?? "";
  const draw = () => shown.replaceChildren(...(draft.photo ? [h("img", { class: "thumb", alt: draft.photo.note || "the photo taken", src: URL.createObjectURL(draft.photo.blob) }), button("Take the photo out", () => { draft.photo = null; save(); draw(); })] : []));
  const input = h("input", { id: "photo-file", type: "file", accept: "image/*", capture: "environment", onchange: async () => {
    const file = input.files[0];
    if (!file) return;
    said.textContent = "Making it small.";
    try {
      draft.photo = { blob: await small(file), note: note.value.trim(), id: queue.mint() };
      await save();
      said.textContent = `Kept, ${Math.round(draft.photo.blob.size / 1024)} kB.`;
      draw();
    } catch { said.textContent = "This phone cannot read that picture."; }
  } });
  draw();
  part.append(h("div", { class: "box" }, h("label", { for: "photo-file" }, "Take or choose one"), input), said, shown,
    h("div", { class: "box" }, h("label", { for: "photo-note" }, "What it shows"), note));
  return part;
}
// Drawn anew on a canvas: small, and without the position and owner that cameras write into a file.
async function small(file) {
  const picture = await createImageBitmap(file);
  const scale = Math.min(1, 1280 / Math.max(picture.width, picture.height));
  const canvas = h("canvas", { width: Math.max(1, Math.round(picture.width * scale)), height: Math.max(1, Math.round(picture.height * scale)) });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  for (const quality of [0.75, 0.5, 0.3]) {
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", quality));
    if (blob && blob.size < 900000) return blob;
  }
  throw new Error("too large");
}
function whenPart() {
  const input = h("input", { id: "seen", type: "datetime-local", oninput: () => { if (input.value) { draft.seen_at = queue.localTime(new Date(input.value)); save(); } } });
  input.value = draft.seen_at.slice(0, 16);
  return h("details", {}, h("summary", {}, "Seen at another time"), h("div", { class: "box" }, h("label", { for: "seen" }, "Day and time"), input));
}

// ---- keeping and sending

function asBody(kind) {
  const out = {};
  for (const field of kind.fields) {
    if (field.kind === "counts") {
      const list = [...draft.counts[field.name]];
      if (draft.current[field.name] > 0) list.push(draft.current[field.name]);
      if (list.length) out[field.name] = list;
      continue;
    }
    const value = draft.values[field.name];
    if (value === undefined) continue;
    const unit = draft.units[field.name];
    const plain = /^[-+]?[\d.,]+$/.test(value);
    if (plain && (field.units?.length > 1 || field.unit === "%") && unit === "") return { problem: `${field.label}: choose its unit.` };
    out[field.name] = plain && unit ? `${value} ${unit}` : value;
  }
  const lacking = kind.fields.find((f) => f.required && out[f.name] === undefined);
  if (lacking) return { problem: `${lacking.label} is missing: ${lacking.help}.` };
  for (const f of kind.fields) {
    const number = Number.parseFloat(out[f.name]);
    if (f.kind === "number" && f.low !== undefined && f.units === undefined && (number < f.low || number > f.high)) return { problem: `${f.label}: ${out[f.name]} is not between ${f.low} and ${f.high}.` };
  }
  return Object.keys(out).length ? { body: out } : { problem: "Nothing is entered yet." };
}

async function finish() {
  const kind = kindOf(draft.kind);
  const { body: entered, problem } = asBody(kind);
  if (problem) { $("cannot").textContent = problem; return; }
  const place = placeOf(draft.place);
  const title = `${kind.title}${place ? `, ${placeName(place)}` : ""}`;
  const common = { place: draft.place, seen_at: draft.seen_at, observer: data.office ? undefined : data.me };
  try {
    await saving;
    await queue.enqueue({ id: draft.id, kind: draft.kind, body: entered, ...common }, title, data.me, body.dataset.version);
    if (draft.photo) {
      const image = { media: "image/jpeg", base64: await base64(draft.photo.blob) };
      const photo = { id: draft.photo.id, kind: "photo", body: { image, note: draft.photo.note || undefined, of: draft.id }, ...common };
      await queue.enqueue(photo, `Photo${place ? `, ${placeName(place)}` : ""}`, data.me, body.dataset.version);
    }
    if (draft.values.stage) {
      const last = (await queue.get("kept", "last values")) ?? { name: "last values", value: {} };
      last.value[draft.place] = { stage: draft.values.stage };
      await queue.put("kept", last);
    }
    await queue.remove("drafts", draft.id);
  } catch { storageFailed(); return; }
  draft = null;
  navigator.storage?.persist?.();
  await waitsLine();
  show("Kept on this phone", h("p", {}, title), h("p", { id: "sent-line", role: "status" }, "It is sent as soon as there is a signal."),
    h("div", { class: "row" }, button("Another place", start, { class: "first" }), place ? button("More here", () => choosePlace(place)) : null));
  await sendNow(true);
  const left = (await queue.all("queue")).filter((r) => r.state !== "sent");
  const line = $("sent-line");
  if (line && !left.length) line.textContent = "Sent.";
}
async function base64(blob) {
  const bytes = new Uint8Array(await blob.arrayBuffer());
  let text = "";
  for (let i = 0; i < bytes.length; i += 32768) text += String.fromCharCode(...bytes.subarray(i, i + 32768));
  return btoa(text);
}
async function throwAway() {
  const asked = h("div", { class: "caution", role: "alertdialog", "aria-label": "Throw it away?" }, h("p", {}, "Throw this entry away? It cannot be had back."),
    h("div", { class: "row" }, button("Throw it away", async () => { await saving; await queue.remove("drafts", draft.id); start(); }), button("Keep it", () => asked.remove(), { class: "first" })));
  screen.append(asked);
  asked.querySelector(".first").focus();
}

async function sendNow(hurry) {
  const result = await queue.flush(data?.me ?? null, { hurry });
  await waitsLine(result);
  return result;
}
let lastResult = "";
// What the list of waiting entries shows; null while another screen stands. A sending of its own accord (the timer, the
// signal coming back) that ends while the list stands must not leave it telling the state of before.
let listed = null;
const states = (held) => held.map((r) => `${r.id} ${r.state}`).sort().join();
async function waitsLine(result) {
  if (result) lastResult = result;
  const held = await queue.all("queue");
  const waits = held.filter((r) => r.state === "waits").length;
  const stuck = held.filter((r) => r.state === "clash" || r.state === "refused").length;
  const last = (await queue.get("kept", "last sent"))?.value;
  const parts = [waits ? `${waits} ${waits === 1 ? "waits" : "wait"}` : "Nothing waits"];
  if (stuck) parts.push(`${stuck} ${stuck === 1 ? "needs" : "need"} you`);
  if (last) parts.push(`last sent ${last.slice(11, 16)}`);
  if (waits && lastResult === "sign in") parts.push("sign in to send");
  $("waits-text").textContent = parts.join(", ");
  $("waits").hidden = false;
  if (listed !== null && listed !== states(held)) await whatWaits();
}

function signInPart() {
  if (lastResult !== "sign in") return null;
  const how = data.office ? h("a", { class: "button", href: "/sign-in?next=/enter/" }, "Sign in") : "Open the address that the desk printed when it was started.";
  return h("div", { class: "caution" }, h("p", {}, "The session has ended. Nothing here is lost, and one can go on counting."), h("p", {}, how));
}

// ---- what waits

const STATES = { waits: "waits", sent: "sent", clash: "something else is kept under its number", refused: "the desk cannot use it" };
async function whatWaits() {
  const held = (await queue.all("queue")).sort((a, b) => (a.made_at < b.made_at ? 1 : -1));
  const open = held.filter((r) => r.state !== "sent");
  const oldest = open.length ? open[open.length - 1].made_at : null;
  show("What waits",
    signInPart(),
    oldest ? h("p", {}, `The oldest was made ${oldest.slice(0, 10)} at ${oldest.slice(11, 16)}.`) : null,
    h("div", { class: "row" }, button("Send now", async () => { await sendNow(true); whatWaits(); }, { class: "first" }), open.length ? button("Save as a file", () => saveFile(open)) : null, button("Back", start)),
    held.length ? held.map(heldPart) : h("p", {}, "Nothing waits, and nothing was sent from this phone lately."));
  listed = states(held);
}
function heldPart(record) {
  const other = record.who && data?.me && record.who !== data.me;
  const again = async (change) => { Object.assign(record, { state: "waits", line: "", next_at: 0, attempts: 0 }, change); await queue.put("queue", record); await sendNow(true); whatWaits(); };
  return h("article", { class: "held", "data-state": record.state }, h("h2", {}, record.title),
    h("p", { class: "small" }, `Made ${record.made_at.slice(0, 10)} at ${record.made_at.slice(11, 16)}${record.who ? ` by ${record.who}` : ""}; ${STATES[record.state]}${record.attempts > 1 ? `, tried ${record.attempts} times` : ""}.`),
    record.line ? h("p", { class: "wrong-line" }, record.line) : null,
    other && record.state === "waits" ? h("p", {}, `It is sent when ${record.who} signs in on this phone.`) : null,
    h("details", {}, h("summary", {}, "What it holds"), h("p", { class: "counted" }, summary(record.entry))),
    h("div", { class: "row" },
      record.state === "refused" ? button("Try again", () => again({})) : null,
      record.state === "clash" ? button("Send it as a new entry", async () => {
        await queue.remove("queue", record.id);
        const id = queue.mint();
        again({ id, entry: { ...record.entry, id } });
      }) : null,
      record.state === "refused" && record.entry.kind !== "photo" ? button("Change it", () => reopen(record)) : null,
      record.state !== "sent" ? button("Save as a file", () => saveFile([record])) : null,
      record.state !== "waits" ? button(record.state === "sent" ? "Clear from the list" : "Throw away", () => ask(record)) : null));
}
function summary(entry) {
  return Object.entries(entry.body).map(([name, value]) => `${name.replaceAll("_", " ")}: ${name === "image" ? "a picture" : Array.isArray(value) ? value.join(", ") : value}`).join("; ");
}
async function ask(record) {
  if (record.state === "sent") { await queue.remove("queue", record.id); await waitsLine(); whatWaits(); return; }
  const asked = h("div", { class: "caution", role: "alertdialog", "aria-label": "Throw it away?" }, h("p", {}, `Throw away ${record.title}? The desk does not have it.`),
    h("div", { class: "row" }, button("Throw it away", async () => { await queue.remove("queue", record.id); await waitsLine(); whatWaits(); }), button("Keep it", () => asked.remove(), { class: "first" })));
  screen.prepend(asked);
  asked.querySelector(".first").focus();
}
// A refused entry becomes a draft again, under a new number, with everything that was in it.
async function reopen(record) {
  const kind = kindOf(record.entry.kind);
  if (!kind) return;
  draft = { id: queue.mint(), place: record.entry.place, kind: kind.name, values: {}, units: {}, counts: {}, current: {}, back: [], photo: null, begun_at: record.made_at, seen_at: record.entry.seen_at };
  for (const field of kind.fields) {
    const value = record.entry.body[field.name];
    if (field.kind === "counts") { draft.counts[field.name] = value ?? []; draft.current[field.name] = 0; }
    else if (value !== undefined) draft.values[field.name] = String(value);
  }
  await save();
  await queue.remove("queue", record.id);
  await waitsLine();
  page();
}
function saveFile(records) {
  const blob = new Blob([records.map((r) => JSON.stringify(r.entry)).join("\n") + "\n"], { type: "application/x-ndjson" });
  const link = h("a", { href: URL.createObjectURL(blob), download: `waiting-${queue.localTime().slice(0, 10)}.jsonl` });
  screen.append(link);
  link.click();
  link.remove();
}

// ---- beginning

async function refresh() {
  try {
    const response = await fetch("/enter/data.json", { credentials: "same-origin", headers: { Accept: "application/json" } });
    if (!response.ok) { if (response.status === 401) lastResult = "sign in"; return; }
    data = await response.json();
    await queue.put("kept", { name: "data", value: data });
  } catch { /* without a signal the phone's own copy is used */ }
}
function sunlight(on) {
  document.documentElement.dataset.sun = on ? "on" : "off";
  $("sun").setAttribute("aria-pressed", String(on));
}
async function keepShell() {
  if (!("serviceWorker" in navigator)) return;
  const hadOne = Boolean(navigator.serviceWorker.controller);
  const registration = await navigator.serviceWorker.register("/enter/worker.js", { scope: "/enter/" });
  const offer = () => { if (registration.waiting && hadOne) $("newer").hidden = false; };
  registration.addEventListener("updatefound", () => registration.installing?.addEventListener("statechange", offer));
  offer();
  $("use-newer").addEventListener("click", () => registration.waiting?.postMessage("use newer"));
  navigator.serviceWorker.addEventListener("controllerchange", () => { if (hadOne && !$("newer").hidden) location.reload(); });
}

$("loading").hidden = false;
$("sun").hidden = false;
$("sun").addEventListener("click", async () => {
  const on = document.documentElement.dataset.sun !== "on";
  sunlight(on);
  await queue.put("kept", { name: "sunlight", value: on });
});
$("waits").addEventListener("click", whatWaits);
sunlight((await queue.get("kept", "sunlight"))?.value ?? false);
data = (await queue.get("kept", "data"))?.value ?? null;
if (data) await Promise.race([refresh(), new Promise((done) => setTimeout(done, 2500))]);
else await refresh();
await waitsLine();
if (data) await start();
else show("Enter", h("p", {}, "Nothing is on this phone yet: open this page once with a signal."), button("Try again", () => location.reload()));
body.dataset.ready = "yes";
keepShell().catch(() => {});
if (data) sendNow(true);
addEventListener("online", () => sendNow(true));
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") sendNow(false); });
setInterval(() => sendNow(false), 20000);

// Enter: choose a place, count or fill in, keep it on the phone, send it when there is a signal.
// Every tap is on disk before the next one; text reaches the page as text only.

const body = document.body;
const [queue, tally, position] = await Promise.all(
  [body.dataset.queue, body.dataset.tally, body.dataset.position].map((address) => import(address)),
);
const $ = (id) => document.getElementById(id);

let data = null;
let draft = null;

// ---- words: every language came with the page, so that it can be changed without a signal

const WORDS = JSON.parse($("words").dataset.words);
const kept = (await queue.get("kept", "reader"))?.value;
let language = WORDS[kept?.language] ? kept.language : document.documentElement.lang;
let measures = kept?.measures ?? body.dataset.measures;

// A text with its values; of a text with a plural the form that the language has for `n`.
function say(code, values = {}) {
  const found = WORDS[language]?.[code] ?? WORDS.en[code] ?? code;
  const text = Array.isArray(found) ? found[new Intl.PluralRules(language).select(values.n) === "one" ? 0 : found.length - 1] : found;
  return text.replace(/{(\w+)}/g, (slot, name) => values[name] ?? slot);
}
const many = (noun, n) => say(`noun.${noun}`, { n });
// What the desk calls a kind, a field, a choice or a unit in this language; in English where it has no word.
const own = (of, name) => data?.said?.[language]?.[of]?.[name];
const kindTitle = (kind) => own("kinds", kind.name) ?? kind.title;
const labelOf = (field) => own("labels", field.name) ?? field.label;
const helpOf = (field) => own("help", field.help) ?? field.help;
const helpLang = (field) => (language === "en" || own("help", field.help) ? false : "en");
const choiceWord = (choice, field) => (field.kind === "flag" ? say(choice) : termOf(choice));
const termOf = (word) => own("terms", word) ?? word;
const unitWord = (unit) => own("units", unit) ?? unit;
function chromeInLanguage() {
  document.documentElement.lang = language;
  for (const element of document.querySelectorAll("[data-say]")) element.textContent = say(element.dataset.say);
  for (const element of document.querySelectorAll("[data-label]")) element.setAttribute("aria-label", say(element.dataset.label));
  for (const element of document.querySelectorAll("[data-language]")) element.hidden = element.dataset.language === language;
}
async function speak(chosen) {
  language = chosen;
  await queue.put("kept", { name: "reader", value: { language, measures } });
  chromeInLanguage();
  await waitsLine();
  if (draft) page(); else if (data) await start();
  // The other pages follow as soon as there is a signal; nothing here waits for it.
  fetch("/reader", { method: "POST", credentials: "same-origin", body: new URLSearchParams({ language, next: "/help" }) }).catch(() => {});
}

const screen = $("screen");

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
    h("span", {}, place.name, h("br"), h("small", {}, [farmName(place), termOf(place.crop ?? place.kind)].filter(Boolean).join(", "))),
    note ? h("small", {}, note) : null));
  const narrow = () => {
    const words = find.value.trim().toLowerCase().split(/\s+/).filter(Boolean);
    const found = data.places.filter((p) => words.every((w) => `${p.name} ${farmName(p)} ${p.crop ?? ""} ${p.kind}`.toLowerCase().includes(w)));
    list.replaceChildren(...found.slice(0, 40).map((p) => entry(p)));
    said.textContent = found.length > 40 ? say("places_narrow", { n: found.length }) : found.length ? "" : say("no_such");
  };
  find.addEventListener("input", narrow);
  const near = () => {
    said.textContent = say("finding");
    navigator.geolocation.getCurrentPosition(
      (at) => {
        const found = position.nearest(data.places, at.coords);
        list.replaceChildren(...found.map((f) => entry(f.place, position.sayDistance(f.metres, say, measures))));
        said.textContent = found.length
          ? say("nearest", { distance: position.sayDistance(Math.max(at.coords.accuracy, 1), say, measures) })
          : say("no_positions");
      },
      (error) => { said.textContent = error.code === 1 ? say("keeps_position") : say("no_position"); },
      { enableHighAccuracy: true, timeout: 15000, maximumAge: 30000 },
    );
  };
  show(say("where"), signInPart(),
    drafts.length ? h("section", { "aria-label": say("begun") }, h("h2", {}, say("begun")),
      h("ul", { class: "choices" }, drafts.map((d) => h("li", {}, h("button", { type: "button", onclick: () => goOn(d) },
        h("span", {}, placeOf(d.place)?.name ?? d.place ?? say("no_place_short"), h("br"), h("small", {}, `${kindOf(d.kind) ? kindTitle(kindOf(d.kind)) : d.kind}${counted(d)}`))))))) : null,
    h("div", { class: "row" }, "geolocation" in navigator ? button(say("by_position"), near) : null,
      button(say("no_place"), () => choosePlace(null))),
    h("div", { class: "box" }, h("label", { for: "find" }, say("find")), find), said, list,
    h("p", {}, h("a", { href: "/enter/by-hand" }, say("by_hand"))));
  narrow();
}
function counted(d) {
  const n = Object.values(d.counts ?? {}).reduce((sum, list) => sum + list.length, 0);
  return n ? say("counted", { n }) : "";
}

function choosePlace(place) {
  const fitting = data.kinds.filter((k) => (place ? !k.places.length || k.places.includes(place.kind) : !k.places.length));
  const withLines = new Set(place ? data.lines.filter((l) => l.place === place.id).map((l) => l.kind) : []);
  fitting.sort((a, b) => withLines.has(b.name) - withLines.has(a.name));
  const notes = data.notes?.[place?.id]?.[language] ?? [];
  show(place ? placeName(place) : say("no_place"), ...notes.map((note) => h("p", { class: "note" }, note)), h("h2", {}, say("what_seen")),
    fitting.length ? h("ul", { class: "choices" }, fitting.map((k) => h("li", {}, h("button", { type: "button", onclick: () => begin(place, k) },
      h("span", {}, kindTitle(k)), withLines.has(k.name) ? h("small", {}, say("with_lines")) : null)))) : h("p", {}, say("not_here")),
    h("div", { class: "row" }, button(say("another"), start)));
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
  $("waits-text").textContent = say("no_room");
}

function lineFor(field) {
  const plan = data.lines.find((l) => l.place === draft.place && l.kind === draft.kind && l.field === field.name);
  const stage = draft.values.stage ?? "";
  const lines = plan ? plan.by[stage] ?? plan.by[""] ?? null : null;
  return lines ? { ...plan, ...lines, key: `${plan.question} ${stage}` } : null;
}

function page() {
  const kind = kindOf(draft.kind);
  const place = placeOf(draft.place);
  if (!kind) { show(say("not_on_phone"), h("p", {}, say("no_longer")), button(say("back"), start)); return; }
  const counts = kind.fields.filter((f) => f.kind === "counts");
  const others = kind.fields.filter((f) => f.kind !== "counts");
  const parts = [h("p", { class: "small" }, place ? placeName(place) : say("no_place"))];
  const stage = others.find((f) => f.name === "stage");
  if (stage && counts.length) parts.push(box(stage, () => counts.forEach((f) => renderTally(f))));
  if (counts.length === 1) parts.push(tallyPart(counts[0], kind.nouns[counts[0].name]));
  else for (const field of counts) parts.push(h("details", { open: draft.counts[field.name].length > 0 }, h("summary", {}, labelOf(field)), tallyPart(field, kind.nouns[field.name])));
  const rest = others.filter((f) => f !== stage || !counts.length);
  const boxes = rest.map((f) => box(f));
  if (boxes.length) parts.push(counts.length ? h("details", {}, h("summary", {}, say("more_seen")), boxes) : h("div", {}, boxes));
  parts.push(photoPart(), whenPart(), h("p", { class: "wrong-line", role: "alert", id: "cannot" }),
    h("div", { class: "row" }, button(say("done"), finish, { class: "first" }), button(say("later"), start), button(say("throw"), throwAway)));
  show(kindTitle(kind), parts);
  counts.forEach((f) => renderTally(f));
}

// A tally: what is under the thumb is the unit now looked at; nothing moves when a number grows.
function tallyPart(field, noun) {
  const id = `tally-${field.name}`;
  const add = (by) => button(`+${by}`, () => tap(field, by), { "aria-label": say("add", { n: by }) });
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
  return h("section", { id, "data-noun": noun, "aria-label": helpOf(field) },
    h("p", { class: "hint", lang: helpLang(field) }, helpOf(field)),
    h("div", { class: "now" }, h("output", { class: "now-count", id: `${id}-now`, "aria-live": "off" }, "0"), h("span", { class: "now-unit", id: `${id}-unit` })),
    h("div", { class: "pads" }, add(1), add(5), add(10), add(50)),
    h("div", { class: "on" }, button(say("undo"), () => undo(field), { id: `${id}-undo` }), button(say("next"), () => { remember(field); close(field); }, { id: `${id}-next`, class: "first" })),
    h("div", { class: "verdict-strip", id: `${id}-strip`, role: "status" }, h("b", {}), h("span", {})),
    svg("svg", { class: "strip-picture", id: `${id}-picture`, viewBox: "0 0 100 40", preserveAspectRatio: "none", "aria-hidden": "true" },
      svg("path", { class: "below" }), svg("path", { class: "above" }), svg("path", { class: "walk" })),
    h("p", { class: "counted", id: `${id}-list` }),
    h("details", {}, h("summary", {}, say("type")), h("div", { class: "box" }, h("label", { for: `${id}-type` }, say("on_next", { noun: many(noun, 1) })), typed)));
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
  const words = tally.say(result, (n) => many(noun, n), Boolean(line), say);
  $(`${id}-now`).textContent = current;
  $(`${id}-unit`).textContent = say("on_noun", { noun: many(noun, 1), number: counts.length + 1 });
  $(`${id}-next`).textContent = current ? say("next_noun", { noun: many(noun, 1) }) : say("none_next", { noun: many(noun, 1) });
  $(`${id}-undo`).disabled = !draft.back.some((step) => step.field === field.name);
  const strip = $(`${id}-strip`);
  strip.classList.toggle("enough", Boolean(result.side));
  if (strip.dataset.n !== String(counts.length) || strip.dataset.line !== (line?.key ?? "")) {
    strip.dataset.n = counts.length;
    strip.dataset.line = line?.key ?? "";
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
  const hint = h("p", { class: "hint", id: `${id}-hint`, lang: helpLang(field) }, `${helpOf(field)[0].toUpperCase()}${helpOf(field).slice(1)}.`);
  const need = field.required ? null : h("span", { class: "need" }, ` ${say("if_known")}`);
  const choices = field.kind === "flag" ? ["yes", "no"] : field.choices;
  if (choices && choices.length <= 5) {
    return h("fieldset", { class: "box", "aria-describedby": `${id}-hint` }, h("legend", {}, labelOf(field), need), hint,
      h("div", { class: "ticks" }, [...choices, ...(field.required ? [] : [""])].map((choice) => {
        const input = h("input", { type: "radio", name: id, value: choice, onchange: () => keep(choice) });
        input.checked = (draft.values[field.name] ?? "") === choice;
        return h("label", {}, input, choice ? choiceWord(choice, field) : say("not_known"));
      })));
  }
  let input;
  if (choices) {
    input = h("select", { id, "aria-describedby": `${id}-hint`, onchange: (e) => keep(e.target.value) }, ["", ...choices].map((c) => h("option", { value: c }, c ? choiceWord(c, field) : say("not_known"))));
  } else {
    const numeric = field.kind === "number" || field.kind === "share";
    input = h("input", { id, "aria-describedby": `${id}-hint`, autocomplete: "off", type: field.kind === "date" ? "date" : "text", inputmode: numeric ? "decimal" : false, enterkeyhint: "next", oninput: (e) => keep(e.target.value.trim()) });
  }
  input.value = draft.values[field.name] ?? "";
  const units = field.kind === "share" ? ["%"] : field.units ?? [];
  let unit = null;
  if (units.length === 1) { unit = h("span", { class: "unit-word" }, unitWord(units[0])); draft.units[field.name] = units[0]; }
  if (units.length > 1) {
    unit = h("select", { "aria-label": say("unit_of", { label: labelOf(field).toLowerCase() }), onchange: (e) => { draft.units[field.name] = e.target.value; save(); } }, units.map((u) => h("option", { value: u }, u ? unitWord(u) : say("which_unit"))));
    draft.units[field.name] ??= units[0];
    unit.value = draft.units[field.name];
  }
  return h("div", { class: "box" }, h("label", { for: id }, labelOf(field), need), hint, h("div", { class: "pair" }, input, unit));
}

function photoPart() {
  const part = h("details", { open: Boolean(draft.photo) }, h("summary", {}, say("photo")));
  const said = h("p", { role: "status", class: "small" });
  const shown = h("div");
  const note = h("input", { id: "photo-note", type: "text", maxlength: "300", oninput: (e) => { if (draft.photo) { draft.photo.note = e.target.value.trim(); save(); } } });
  note.value = draft.photo?.note ?? "";
  const draw = () => shown.replaceChildren(...(draft.photo ? [h("img", { class: "thumb", alt: draft.photo.note || say("photo_taken"), src: URL.createObjectURL(draft.photo.blob) }), button(say("photo_out"), () => { draft.photo = null; save(); draw(); })] : []));
  const input = h("input", { id: "photo-file", type: "file", accept: "image/*", capture: "environment", onchange: async () => {
    const file = input.files[0];
    if (!file) return;
    said.textContent = say("making_small");
    try {
      draft.photo = { blob: await small(file), note: note.value.trim(), id: queue.mint() };
      await save();
      said.textContent = say("photo_kept", { size: Math.round(draft.photo.blob.size / 1024) });
      draw();
    } catch { said.textContent = say("cannot_read"); }
  } });
  draw();
  part.append(h("div", { class: "box" }, h("label", { for: "photo-file" }, say("take_photo")), input), said, shown,
    h("div", { class: "box" }, h("label", { for: "photo-note" }, say("photo_shows")), note));
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
  return h("details", {}, h("summary", {}, say("other_time")), h("div", { class: "box" }, h("label", { for: "seen" }, say("day_time")), input));
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
    if (plain && (field.units?.length > 1 || field.unit === "%") && unit === "") return { problem: say("choose_unit", { label: labelOf(field) }) };
    out[field.name] = plain && unit ? `${value} ${unit}` : value;
  }
  const lacking = kind.fields.find((f) => f.required && out[f.name] === undefined);
  if (lacking) return { problem: say("missing", { label: labelOf(lacking), help: helpOf(lacking) }) };
  for (const f of kind.fields) {
    const number = Number.parseFloat(out[f.name]);
    if (f.kind === "number" && f.low !== undefined && f.units === undefined && (number < f.low || number > f.high)) return { problem: say("not_between", { label: labelOf(f), value: out[f.name], low: f.low, high: f.high }) };
  }
  return Object.keys(out).length ? { body: out } : { problem: say("nothing_yet") };
}

async function finish() {
  const kind = kindOf(draft.kind);
  const { body: entered, problem } = asBody(kind);
  if (problem) { $("cannot").textContent = problem; return; }
  const place = placeOf(draft.place);
  const title = `${kindTitle(kind)}${place ? `, ${placeName(place)}` : ""}`;
  const common = { place: draft.place, seen_at: draft.seen_at, observer: data.office ? undefined : data.me };
  try {
    await saving;
    await queue.enqueue({ id: draft.id, kind: draft.kind, body: entered, ...common }, title, data.me, body.dataset.version);
    if (draft.photo) {
      const image = { media: "image/jpeg", base64: await base64(draft.photo.blob) };
      const photo = { id: draft.photo.id, kind: "photo", body: { image, note: draft.photo.note || undefined, of: draft.id }, ...common };
      await queue.enqueue(photo, `${say("photo")}${place ? `, ${placeName(place)}` : ""}`, data.me, body.dataset.version);
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
  show(say("kept"), h("p", {}, title), h("p", { id: "sent-line", role: "status" }, say("sent_soon")),
    h("div", { class: "row" }, button(say("another"), start, { class: "first" }), place ? button(say("more_here"), () => choosePlace(place)) : null));
  await sendNow(true);
  const left = (await queue.all("queue")).filter((r) => r.state !== "sent");
  const line = $("sent-line");
  if (line && !left.length) line.textContent = say("sent");
}
async function base64(blob) {
  const bytes = new Uint8Array(await blob.arrayBuffer());
  let text = "";
  for (let i = 0; i < bytes.length; i += 32768) text += String.fromCharCode(...bytes.subarray(i, i + 32768));
  return btoa(text);
}
async function throwAway() {
  const asked = h("div", { class: "caution", role: "alertdialog", "aria-label": say("throw_ask") }, h("p", {}, say("throw_sure")),
    h("div", { class: "row" }, button(say("throw_it"), async () => { await saving; await queue.remove("drafts", draft.id); start(); }), button(say("keep_it"), () => asked.remove(), { class: "first" })));
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
  const parts = [waits ? say("wait", { n: waits }) : say("nothing_waits")];
  if (stuck) parts.push(say("need_you", { n: stuck }));
  if (last) parts.push(say("last_sent", { time: last.slice(11, 16) }));
  if (waits && lastResult === "sign in") parts.push(say("sign_in_to_send"));
  $("waits-text").textContent = parts.join(", ");
  $("waits").hidden = false;
  if (listed !== null && listed !== states(held)) await whatWaits();
}

function signInPart() {
  if (lastResult !== "sign in") return null;
  const how = data.office ? h("a", { class: "button", href: "/sign-in?next=/enter/" }, say("sign_in")) : say("open_printed");
  return h("div", { class: "caution" }, h("p", {}, say("ended")), h("p", {}, how));
}

// ---- what waits

async function whatWaits() {
  const held = (await queue.all("queue")).sort((a, b) => (a.made_at < b.made_at ? 1 : -1));
  const open = held.filter((r) => r.state !== "sent");
  const oldest = open.length ? open[open.length - 1].made_at : null;
  show(say("what_waits"),
    signInPart(),
    oldest ? h("p", {}, say("oldest", { day: oldest.slice(0, 10), time: oldest.slice(11, 16) })) : null,
    h("div", { class: "row" }, button(say("send_now"), async () => { await sendNow(true); whatWaits(); }, { class: "first" }), open.length ? button(say("save_file"), () => saveFile(open)) : null, button(say("back"), start)),
    held.length ? held.map(heldPart) : h("p", {}, say("none_lately")));
  listed = states(held);
}
function heldPart(record) {
  const other = record.who && data?.me && record.who !== data.me;
  const again = async (change) => { Object.assign(record, { state: "waits", line: "", next_at: 0, attempts: 0 }, change); await queue.put("queue", record); await sendNow(true); whatWaits(); };
  return h("article", { class: "held", "data-state": record.state }, h("h2", {}, record.title),
    h("p", { class: "small" }, `${say(record.who ? "made_by" : "made", { day: record.made_at.slice(0, 10), time: record.made_at.slice(11, 16), who: record.who })}; ${say(`state.${record.state}`)}${record.attempts > 1 ? say("tried", { n: record.attempts }) : ""}.`),
    record.line ? h("p", { class: "wrong-line" }, record.line === queue.NO_SIGNAL ? say("no_signal") : record.line) : null,
    other && record.state === "waits" ? h("p", {}, say("sent_when", { who: record.who })) : null,
    h("details", {}, h("summary", {}, say("holds")), h("p", { class: "counted" }, summary(record.entry))),
    h("div", { class: "row" },
      record.state === "refused" ? button(say("try_again"), () => again({})) : null,
      record.state === "clash" ? button(say("send_new"), async () => {
        await queue.remove("queue", record.id);
        const id = queue.mint();
        again({ id, entry: { ...record.entry, id } });
      }) : null,
      record.state === "refused" && record.entry.kind !== "photo" ? button(say("change"), () => reopen(record)) : null,
      record.state !== "sent" ? button(say("save_file"), () => saveFile([record])) : null,
      record.state !== "waits" ? button(record.state === "sent" ? say("clear") : say("throw"), () => ask(record)) : null));
}
function summary(entry) {
  return Object.entries(entry.body).map(([name, value]) => `${name.replaceAll("_", " ")}: ${name === "image" ? say("picture") : Array.isArray(value) ? value.join(", ") : value}`).join("; ");
}
async function ask(record) {
  if (record.state === "sent") { await queue.remove("queue", record.id); await waitsLine(); whatWaits(); return; }
  const asked = h("div", { class: "caution", role: "alertdialog", "aria-label": say("throw_ask") }, h("p", {}, say("throw_record", { title: record.title })),
    h("div", { class: "row" }, button(say("throw_it"), async () => { await queue.remove("queue", record.id); await waitsLine(); whatWaits(); }), button(say("keep_it"), () => asked.remove(), { class: "first" })));
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

for (const element of document.querySelectorAll("[data-language]")) element.addEventListener("click", () => speak(element.dataset.language));
chromeInLanguage();
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
else show(say("title"), h("p", {}, say("nothing_here")), button(say("try_again"), () => location.reload()));
body.dataset.ready = "yes";
keepShell().catch(() => {});
if (data) sendNow(true);
addEventListener("online", () => sendNow(true));
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") sendNow(false); });
setInterval(() => sendNow(false), 20000);

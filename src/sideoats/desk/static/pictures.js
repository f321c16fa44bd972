// Values of a picture by pointing and by keyboard. The drawing, its sentence and its table stand without this.

const READ = "picture-value";

function open(figure) {
  if (figure.dataset.open) return;
  figure.dataset.open = "on";
  const said = document.createElement("p");
  said.className = READ;
  said.setAttribute("aria-hidden", "true");
  for (const box of figure.querySelectorAll(":scope > .wide, :scope > .phone")) prepare(figure, box, said);
  const first = figure.querySelector(":scope > .aside");
  if (figure.querySelector(".point")) first.before(said);
}

function prepare(figure, box, said) {
  const svg = box.querySelector("svg");
  const points = [...svg.querySelectorAll(".point")].sort((a, b) => a.cx.baseVal.value - b.cx.baseVal.value || a.cy.baseVal.value - b.cy.baseVal.value);
  if (!points.length) return;
  const words = points.map((p) => { const t = p.querySelector("title"); const w = t.textContent; t.remove(); return w; });
  const ring = document.createElementNS("http://www.w3.org/2000/svg", "circle");
  for (const [name, value] of Object.entries({ r: 11, fill: "none", stroke: "currentColor", "stroke-width": 2, class: "now read", visibility: "hidden" })) ring.setAttribute(name, value);
  svg.append(ring);
  box.tabIndex = 0;
  box.setAttribute("role", "slider");
  box.setAttribute("aria-label", `${figure.dataset.read}: ${figure.querySelector("figcaption").textContent}`);
  box.setAttribute("aria-valuemin", "1");
  box.setAttribute("aria-valuemax", String(points.length));
  let at = points.length - 1;
  const tell = () => {
    box.setAttribute("aria-valuenow", String(at + 1));
    box.setAttribute("aria-valuetext", words[at]);
  };
  const show = (index) => {
    at = Math.min(Math.max(index, 0), points.length - 1);
    ring.setAttribute("cx", points[at].cx.baseVal.value);
    ring.setAttribute("cy", points[at].cy.baseVal.value);
    ring.setAttribute("visibility", "visible");
    said.textContent = words[at];
    tell();
  };
  const hide = () => { ring.setAttribute("visibility", "hidden"); said.textContent = ""; };
  const nearest = (event) => {
    const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const far = (p) => Math.hypot(p.cx.baseVal.value - place.x, p.cy.baseVal.value - place.y);
    return points.reduce((best, p, i) => (far(p) < far(points[best]) ? i : best), 0);
  };
  tell();
  box.addEventListener("pointermove", (event) => show(nearest(event)));
  box.addEventListener("pointerleave", () => { if (document.activeElement !== box) hide(); });
  box.addEventListener("focus", () => { if (ring.getAttribute("visibility") === "hidden") show(at); });
  box.addEventListener("blur", hide);
  box.addEventListener("click", (event) => {
    const found = nearest(event);
    show(found);
    const link = points[found].dataset.link;
    if (link && event.target.closest(".point")) location.assign(link);
  });
  const steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 7, PageDown: -7, Home: -Infinity, End: Infinity };
  box.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && points[at].dataset.link) location.assign(points[at].dataset.link);
    if (!(event.key in steps)) return;
    event.preventDefault();
    show(at + steps[event.key]);
  });
}

function openAll(root) {
  for (const figure of root.querySelectorAll("figure.picture")) open(figure);
}

openAll(document);
document.addEventListener("htmx:afterSwap", (event) => openAll(event.target));

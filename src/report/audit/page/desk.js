// @ts-check
// One frame, large: opening, stepping, closing, and what is said of it.

let now = 0;
/** Frames on either side that the one on show can be compared with, besides those of its scene. */
const NEIGHBOURS = 250;
const frame = () => shoot[now];

/** @type {(i: number) => void} */
function openFrame(i) {
  now = i;
  const f = frame(), marked = kept.places[f.file] || {};
  // The eye stays where it was; a place of the reader's own choice is the same share of the next picture.
  near = marked.near || f.near; far = marked.far || f.far;
  swapped = false;
  if (other === i) other = null;
  const picture = el("over"), [width, height, wide, high] = f.laid_out;
  picture.hidden = !f.sheet;
  if (f.sheet) {
    // The whole picture is the upper left part of the sheet.
    picture.src = f.sheet;
    picture.style.width = 100 * width / wide + "%"; picture.style.height = 100 * height / high + "%";
    picture.style.clipPath = "inset(0 " + 100 * (1 - wide / width) + "% " + 100 * (1 - high / height) + "% 0)";
  } else picture.removeAttribute("src");
  stage.style.aspectRatio = f.w + " / " + f.h;
  stage.style.maxWidth = "calc(var(--stage-high) * " + (f.w / f.h).toFixed(4) + ")";
  const tiles = tilesOf(f);
  cursor = tiles.findIndex((t) => t.zones & 1 && t.blur !== null);
  if (cursor < 0) cursor = Math.floor(tiles.length / 2);
  const alike = (/** @type {Frame} */ o) => Number(o.group === f.group && f.group !== null);
  // Of a large shoot the nearest in the folder's order: nobody reads a list of thousands.
  const near_by = /** @type {[Frame, number][]} */ (shoot.map((o, k) => [o, k])).filter(([o, k]) => k !== i && (alike(o) || k === other || Math.abs(k - i) <= NEIGHBOURS));
  el("beside").replaceChildren(make("option", "no other frame", { value: "" }), ...near_by.sort((a, b) => alike(b[0]) - alike(a[0]))
    .map(([o, k]) => make("option", o.name + (o.stop ? ", f/" + o.stop : ""), { value: k })));
  if (other !== null) el("beside").value = String(other);
  const charts = el("desk-charts");
  charts.replaceChildren(...all("figure.chart", card(i)).map((n) => n.cloneNode(true)));
  drawCharts(i, charts);
  el("desk-facts").replaceChildren(...all(".more > table, .more > .facts, .flags", card(i)).map((n) => n.cloneNode(true)));
  const at = shown.indexOf(i);
  el("previous").disabled = at <= 0;
  el("next").disabled = at < 0 || at >= shown.length - 1;
  const scrolled = desk.open ? desk.scrollTop : 0;
  if (!desk.open) { desk.showModal(); document.documentElement.classList.add("busy"); }
  desk.scrollTop = scrolled;
  el("desk-title").focus({ preventScroll: true });
  putAway();
  show();
}
// All of the large view that depends on the frame and the use.
function show() {
  const entry = card(now), at = shown.indexOf(now);
  el("desk-title").textContent = frame().name + (at < 0 || shown.length < 2 ? "" : " (" + (at + 1) + " of " + shown.length + ")");
  el("desk-line").textContent = lineOf(frame());
  el("desk-words").replaceChildren(...all(".words .detail, .words .advice, .words .facts", entry).map(sided));
  el("desk-zones").replaceChildren(...all(".numbers table", entry).map((n) => n.cloneNode(true)));
  const advice = all(".words .advice", entry).map(sided);
  el("desk-advice").replaceChildren(...advice);
  showMark();
  paint(); say(); marks(); windows();
}
/** @type {(n: any) => any} a copy that keeps to its system of units */
function sided(n) {
  const copy = n.cloneNode(true), side = n.parentElement.className;
  if (side.startsWith("if-")) copy.classList.add(side);
  return copy;
}
function showMark() {
  const state = markOf(now);
  el("desk-mark").textContent = state === "open" ? proposal(frame()) : MARKS[state];
  for (const button of all("#desk [data-mark]")) button.setAttribute("aria-pressed", String(button.dataset.mark === state));
}
/** @type {(by: number) => void} */
const step = (by) => { const to = shown[shown.indexOf(now) + by]; if (to !== undefined) location.hash = "look-" + (to + 1); };
/** @type {(i: number, then: () => void) => void} */
const withFrame = (i, then) => withCards([i], () => withTiles(i, then));
function route() {
  const match = /^#look-(\d+)$/.exec(location.hash), i = match ? +match[1] - 1 : -1;
  if (shoot[i]) withFrame(i, () => { if (match && location.hash === match[0]) openFrame(i); }); else if (desk.open) desk.close();
}
desk.addEventListener("close", () => {
  document.documentElement.classList.remove("busy");
  putAway();
  if (location.hash.startsWith("#look-")) history.replaceState(null, "", location.pathname + location.search);
  laidCards.reveal(now, (entry) => {
    const back = entry.querySelector(list.classList.contains("sheet") ? ".plate" : ".open button");
    if (back && !desk.open) { back.scrollIntoView({ block: "nearest" }); back.focus({ preventScroll: true }); }
  });
});

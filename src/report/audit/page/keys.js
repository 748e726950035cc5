// @ts-check
// The keys, each with its words, in one table that the list of keys is made from.

const opened = () => desk.open;
/** @type {[string[], string, string, () => boolean, () => void][]} keys, how they are shown, what they do, when, how */
const KEYS = [
  [["ArrowRight"], "\u2192", "next frame, the eye where it was", opened, () => step(1)],
  [["ArrowLeft"], "\u2190", "previous frame", opened, () => step(-1)],
  [["s"], "S", "scale: 1:1 or 2:1", opened, () => scale(zoom === 1 ? 2 : 1)],
  [["n"], "N", "near, large; once more for all four", opened, () => lookAt("near")],
  [["f"], "F", "far, large", opened, () => lookAt("far")],
  [["b"], "B", "bottom corners, large: left, right, back to four", opened, () => lookAt(eye === "bottom-left" ? "bottom-right" : eye === "bottom-right" ? "bottom-right" : "bottom-left")],
  [["k"], "K", "keep", opened, () => toggle(now, true)],
  [["l"], "L", "leave out", opened, () => toggle(now, false)],
  [["K"], "Shift K", "keep, and on to the next", opened, () => { mark([[now, true]]); step(1); }],
  [["L"], "Shift L", "leave out, and on to the next", opened, () => { mark([[now, false]]); step(1); }],
  [["o"], "O", "to the other frame and back", opened, () => swap()],
  [["m"], "M", "map large or small", opened, () => mapLarge()],
  [["Enter"], "Enter", "open the first frame on show", () => !opened() && (document.activeElement === document.body || document.activeElement === el("frames")), () => { if (shown.length) location.hash = "look-" + (shown[0] + 1); }],
  [["t"], "T", "take the proposal for every frame still open", () => true, takeProposal],
  [["w"], "W", "write the keep list", () => true, writeKeepList],
  [["Backspace"], "Backspace", "take back the last mark", () => true, takeBack],
  [["i"], "I", "small pictures or the list", () => !opened(), () => { layOut(!list.classList.contains("sheet")); el("frames").scrollIntoView(); }],
  [["?"], "?", "this list", () => true, () => el("keys").showModal()],
];
el("keys-list").replaceChildren(...KEYS.flatMap(([, shownAs, words]) => [make("dt", shownAs), make("dd", words)]),
  make("dt", "arrows, Enter"), make("dd", "on the map: from tile to tile, look there"), make("dt", "Shift N, Shift F"), make("dd", "on the map: this is the nearest, the farthest"), make("dt", "Escape"), make("dd", "close"));

function mapLarge() {
  const large = el("bench").classList.toggle("mapped");
  el("map-large").setAttribute("aria-pressed", String(large));
  paint();
  windows();
}
// The map has keys of its own while it has the focus.
/** @type {(e: KeyboardEvent) => boolean} */
function onStage(e) {
  const f = frame(), b = box(f, cursor);
  const move = /** @type {Record<string, number[]>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] })[e.key];
  const centre = { x: (b.x + b.w / 2) / f.w, y: (b.y + b.h / 2) / f.h };
  const mode = /** @type {Record<string, string>} */ ({ Enter: "look", " ": "look", N: "near", F: "far" })[e.key];
  if (move) {
    cursor = clamp(b.r + move[1], 0, f.rows - 1) * f.cols + clamp(b.c + move[0], 0, f.cols - 1);
    const to = box(f, cursor), r = stage.getBoundingClientRect(), at = { x: (to.x + to.w / 2) / f.w, y: (to.y + to.h / 2) / f.h };
    magnify(at, r.left + at.x * r.width, r.top + at.y * r.height);
    over(); say();
  } else if (mode) act(mode, centre);
  return !!(move || mode);
}
document.addEventListener("keydown", (e) => {
  const target = /** @type {any} */ (e.target), typing = /^(INPUT|SELECT|TEXTAREA)$/.test(target.tagName) && !/^(checkbox|radio|range)$/.test(target.type);
  if (typing || e.altKey || el("keys").open) return;
  if (e.ctrlKey || e.metaKey) {
    if (e.key === "z") { takeBack(); e.preventDefault(); }
    return;
  }
  if (target === stage && onStage(e)) return e.preventDefault();
  if (target.type === "range" && e.key.startsWith("Arrow") || target.type === "radio" && e.key.startsWith("Arrow")) return;
  // A letter alone is small whatever the shift lock says; with Shift it is the other key.
  const key = e.key.length === 1 && /[a-z]/i.test(e.key) ? (e.shiftKey ? e.key.toUpperCase() : e.key.toLowerCase()) : e.key;
  const found = KEYS.find(([keys, , , when]) => keys.includes(key) && when());
  if (!found) return;
  found[4]();
  e.preventDefault();
});

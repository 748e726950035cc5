// @ts-check
// Near and far as the reader marks them, and the command that repeats the audit with them.

/** @type {Place | null} */
let near = null;
/** @type {Place | null} */
let far = null;

// A mark's blur: the tile under it, or the sharpest measured neighbour where that one has no number.
/** @type {(f: Frame, p: Place) => {t: any, aside?: boolean, why?: string}} */
function blurAt(f, p) {
  const tiles = tilesOf(f), i = tileAt(f, p), c = i % f.cols, r = Math.floor(i / f.cols);
  if (tiles[i].blur !== null) return { t: tiles[i], aside: false };
  let best = null;
  for (let y = Math.max(0, r - 1); y <= Math.min(f.rows - 1, r + 1); y++) for (let x = Math.max(0, c - 1); x <= Math.min(f.cols - 1, c + 1); x++) {
    const t = tiles[y * f.cols + x];
    if (t.blur !== null && t.standing !== SOFT_BY_NATURE && (!best || t.blur < best.blur)) best = t;
  }
  return best ? { t: best, aside: true, why: STATES[tiles[i].state] } : { t: null, why: STATES[tiles[i].state] };
}
/** @type {(f: Frame, limit: number | null, at: Place | null, name: string, zone: number) => {o: number | null, sd: number, said: string}} */
function judged(f, limit, at, name, zone) {
  let o = null, sd = 0, note = "";
  if (at) {
    const found = blurAt(f, at);
    if (found.t) { o = found.t.blur; sd = found.t.sd; if (found.aside) note = " (from a neighbour: the tile itself has " + found.why + ")"; }
    else note = found.why || "";
  } else if (f.zones[zone][0] !== null) { o = f.zones[zone][0]; sd = f.zones[zone][1] || 0.05; note = " (the audit's own zone)"; }
  if (o === null) return { o, sd, said: name + ": nothing there to judge" + (note ? ", " + note : "") + "." };
  const w = limit ? word(f, o, sd, limit) : "";
  return { o, sd, said: name + ": " + withSd(o, sd) + " px of optical blur" + (w ? ", " + w + (w === "at limit" ? "" : " what is permitted") : "") + note + "." };
}
function marks() {
  const f = frame(), limit = permitted(f);
  const n = judged(f, limit, near, "Nearest", 0), r = judged(f, limit, far, "Farthest", 1);
  const out = [make("p", n.said), make("p", r.said)];
  if (n.o !== null && r.o !== null && limit) {
    const p = [word(f, n.o, n.sd, limit), word(f, r.o, r.sd, limit)], by = Math.abs(n.o - r.o), sd = Math.hypot(n.sd, r.sd);
    const both = p[0] === "within" && p[1] === "within" ? "Both are within the permitted " + limit.toFixed(2) + " px." : p.includes("beyond") ? "Not both are within the permitted " + limit.toFixed(2) + " px." : "At the limit of the permitted " + limit.toFixed(2) + " px.";
    const differ = by < 2 * sd ? " They are alike within the error." : " They differ by " + withSd(by, sd) + " px; the " + (n.o > r.o ? "nearest" : "farthest") + " is softer.";
    out.unshift(make("p", both + differ, { class: "big" }));
  }
  el("marks-words").replaceChildren(...out);
  el("command").value = command(f);
}
// Names with characters that can't be seen are written out for the shell, so that the command is what it looks.
const unseen = /[\u0000-\u001f\u007f-\u009f\u00ad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff]/;
/** @type {(text: string) => string} */
const shell = (text) => unseen.test(text) ? "$'" + [...text].map((c) => unseen.test(c) ? "\\u" + (c.codePointAt(0) || 0).toString(16).padStart(4, "0") : c.replace(/['\\]/, "\\$&")).join("") + "'" : /^[\w./:@%+,=-]+$/.test(text) && !text.startsWith("-") ? text : "'" + text.replace(/'/g, "'\\''") + "'";
/** @type {(f: Frame) => string} */
function command(f) {
  const at = (/** @type {Place} */ p) => p.x.toFixed(3) + "," + p.y.toFixed(3), use = useTyped();
  return "tussock audit " + (f.file.startsWith("-") ? "-- " : "") + shell(f.file) + (use === "diagonal" ? "" : " --sharp-for " + use) + (near ? " --near-at " + at(near) : "") + (far ? " --far-at " + at(far) : "");
}
// A place is marked as nearest or farthest, or looked at; marks stay with the frame.
/** @type {(mode: string, p: Place) => void} */
function act(mode, p) {
  if (mode === "look") {
    place = p;
    eye = "place";
    windows();
  } else {
    if (mode === "near") near = p; else far = p;
    const file = frame().file;
    kept.places[file] = { ...kept.places[file], [mode]: p };
    remember();
    marks();
  }
  over();
}
function forget() {
  delete kept.places[frame().file];
  remember();
  near = frame().near; far = frame().far;
  marks();
  over();
}

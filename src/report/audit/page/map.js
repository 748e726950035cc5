// @ts-check
// The map of blur over the picture, the lines on it, and the words for one tile.

const desk = el("desk"), stage = el("stage"), canvas = el("map"), lines = el("lines");
let cursor = 0;

/** @type {(ratio: number) => number[]} */
function shade(ratio) {
  const t = clamp((Math.log2(Math.max(ratio, 1e-3)) + 1) / 3, 0, 1) * (audit.ramp.length - 1);
  const low = Math.min(Math.floor(t), audit.ramp.length - 2), share = t - low;
  return audit.ramp[low].map((/** @type {number} */ a, /** @type {number} */ k) => Math.round(a + share * (audit.ramp[low + 1][k] - a)));
}
// How much of a tile its colour covers: what is within hardly, what is beyond nearly all.
/** @type {Record<string, number>} */
const COVER = { within: 0.3, "at limit": 0.55, beyond: 0.85 };

function paint() {
  const f = frame(), tiles = tilesOf(f), limit = permitted(f);
  const width = stage.clientWidth, height = stage.clientHeight, fine = window.devicePixelRatio || 1;
  canvas.width = Math.max(1, Math.round(width * fine)); canvas.height = Math.max(1, Math.round(height * fine));
  const g = canvas.getContext("2d");
  g.scale(fine, fine);
  const kx = width / f.w, ky = height / f.h, strength = +el("strength").value / 100, side = width / f.cols;
  const every = Math.max(1, Math.ceil(27 / side));
  g.textAlign = "center"; g.textBaseline = "middle";
  const words = tiles.map((t) => t.blur === null || t.standing === SOFT_BY_NATURE || !limit ? "" : word(f, t.blur, t.sd, limit));
  tiles.forEach((t, i) => {
    const b = box(f, i), x = b.x * kx, y = b.y * ky, w = b.w * kx, h = b.h * ky;
    if (strength > 0 && t.blur === null && side > 18) {
      g.globalAlpha = strength; g.font = "12px sans-serif";
      g.fillStyle = "#fff"; g.fillText(GLYPHS[t.state], x + w / 2 + 0.7, y + h / 2 + 0.7);
      g.fillStyle = "#000"; g.fillText(GLYPHS[t.state], x + w / 2, y + h / 2);
    } else if (strength > 0 && t.blur !== null) {
      // What is soft by nature is not held against the frame: a pale wash.
      const soft = t.standing === SOFT_BY_NATURE;
      const [r, gr, bl] = soft ? audit.ramp[0] : shade(t.blur / (limit || 1));
      g.globalAlpha = strength * (soft ? 0.25 : COVER[words[i]] ?? 0.3);
      g.fillStyle = "rgb(" + r + "," + gr + "," + bl + ")";
      g.fillRect(x, y, w + 0.5, h + 0.5);
    }
    g.globalAlpha = 1;
    if (el("numbers").checked && t.blur !== null && b.c % every === 0 && b.r % every === 0) {
      const text = t.blur.toFixed(t.blur < 10 ? 2 : 0);
      g.font = "11px sans-serif"; g.lineWidth = 3; g.strokeStyle = "#fff"; g.fillStyle = "#000";
      g.strokeText(text, x + w / 2, y + h / 2); g.fillText(text, x + w / 2, y + h / 2);
    }
  });
  if (strength > 0) outline(g, f, (i) => words[i] === "beyond", kx, ky);
  over();
  legend(limit);
}
// A dark and a light line about all that is beyond the permitted blur: seen on grass, on snow, and without colour.
/** @type {(g: any, f: Frame, inside: (i: number) => boolean, kx: number, ky: number) => void} */
function outline(g, f, inside, kx, ky) {
  g.beginPath();
  for (let i = 0; i < f.cols * f.rows; i++) {
    if (!inside(i)) continue;
    const b = box(f, i), x0 = b.x * kx, y0 = b.y * ky, x1 = (b.x + b.w) * kx, y1 = (b.y + b.h) * ky;
    const edge = (/** @type {boolean} */ open, /** @type {number[]} */ [ax, ay, bx, by]) => { if (open) { g.moveTo(ax, ay); g.lineTo(bx, by); } };
    edge(b.c === 0 || !inside(i - 1), [x0, y0, x0, y1]);
    edge(b.c === f.cols - 1 || !inside(i + 1), [x1, y0, x1, y1]);
    edge(b.r === 0 || !inside(i - f.cols), [x0, y0, x1, y0]);
    edge(b.r === f.rows - 1 || !inside(i + f.cols), [x0, y1, x1, y1]);
  }
  g.lineCap = "square";
  g.strokeStyle = "rgba(40,0,40,.85)"; g.lineWidth = 3; g.stroke();
  g.strokeStyle = "rgba(255,255,255,.95)"; g.lineWidth = 1.2; g.stroke();
}
// Lines and marks over the picture: where the windows look, best focus, focus point, the reader's own marks, the tile.
function over() {
  const f = frame(), width = stage.clientWidth, height = stage.clientHeight;
  const kx = width / f.w, ky = height / f.h;
  lines.setAttribute("viewBox", "0 0 " + width + " " + height);
  lines.replaceChildren();
  const line = (/** @type {string} */ d, /** @type {string} */ kind) => { lines.append(drawn("path", { d, class: "under" }), drawn("path", { d, class: kind })); };
  const label = (/** @type {string} */ text, /** @type {number} */ x, /** @type {number} */ y) => {
    const node = drawn("text", { x: clamp(x, 4, width - 4), y: clamp(y, 13, height - 4), "text-anchor": x > width * 0.7 ? "end" : "start" });
    node.textContent = text; lines.append(node);
  };
  if (el("zones").checked) {
    zoneLines(f, kx, ky, line, label);
    if (f.line) {
      const [a, b] = f.line;
      line("M" + a.x * width + " " + a.y * height + "L" + b.x * width + " " + b.y * height, "focus");
      label("best focus", Math.min(a.x, b.x) * width + 6, (a.x < b.x ? a.y : b.y) * height - 5);
    }
    if (f.point) {
      const x = f.point.x * width, y = f.point.y * height;
      line("M" + (x - 9) + " " + y + "H" + (x + 9) + "M" + x + " " + (y - 9) + "V" + (y + 9), "point");
      label("camera's focus point", x + 12, y + 4);
    }
  } else {
    for (const s of spotsOf(f)) {
      if (eye && eye !== "place" ? s.slug !== eye : !FIRST.includes(s.slug)) continue;
      const x = s.x * kx, y = s.y * ky;
      line("M" + x + " " + y + "h" + s.w * kx + "v" + s.h * ky + "h" + -s.w * kx + "z", "spot");
      if (s.slug === "near" || s.slug === "far") label(s.slug, x + (x > width * 0.7 ? s.w * kx : 0), y - 4);
    }
  }
  for (const [mark, text] of /** @type {[Place | null, string][]} */ ([[near, "nearest"], [far, "farthest"]])) {
    if (!mark) continue;
    const x = mark.x * width, y = mark.y * height;
    line("M" + x + " " + y + "l-6 -11h12zM" + x + " " + y + "v3", "mark");
    label(text, x + 9, y - 3);
  }
  const b = box(f, cursor);
  line("M" + b.x * kx + " " + b.y * ky + "h" + b.w * kx + "v" + b.h * ky + "h" + -b.w * kx + "z", "cursor");
}
/** @type {(f: Frame, kx: number, ky: number, line: (d: string, kind: string) => void, label: (text: string, x: number, y: number) => void) => void} */
function zoneLines(f, kx, ky, line, label) {
  const tiles = tilesOf(f);
  for (let z = 0; z < 7; z++) {
    const inside = (/** @type {number} */ i) => i >= 0 && i < tiles.length && tiles[i].zones & 1 << z;
    let d = "", at = null;
    for (let i = 0; i < tiles.length; i++) {
      if (!inside(i)) continue;
      const b = box(f, i), x0 = b.x * kx, y0 = b.y * ky, x1 = (b.x + b.w) * kx, y1 = (b.y + b.h) * ky;
      at = at || [x0, y0];
      if (b.c === 0 || !inside(i - 1)) d += "M" + x0 + " " + y0 + "V" + y1;
      if (b.c === f.cols - 1 || !inside(i + 1)) d += "M" + x1 + " " + y0 + "V" + y1;
      if (!inside(i - f.cols)) d += "M" + x0 + " " + y0 + "H" + x1;
      if (!inside(i + f.cols)) d += "M" + x0 + " " + y1 + "H" + x1;
    }
    if (at) { line(d, "zone"); if (z < 2) label(ZONES[z], at[0] + 4, at[1] + 14); }
  }
}
/** @type {(limit: number | null) => void} */
function legend(limit) {
  const marks = [0.5, 0.7, 1, 1.4, 2, 2.8, 4], node = drawn("svg", { viewBox: "0 0 350 34" });
  marks.forEach((ratio, k) => {
    const [r, g, b] = shade(ratio), x = k * 50;
    node.append(drawn("rect", { x, y: 0, width: 50, height: 12, fill: "rgb(" + r + "," + g + "," + b + ")" }));
    const text = drawn("text", { x: x + 25, y: 27, "text-anchor": "middle" });
    text.textContent = limit ? (ratio * limit).toFixed(2) : ratio + "\u00d7";
    node.append(text);
  });
  const from = drawn("path", { d: "M150 0V14H349V0", class: "limit" });
  node.append(from);
  const beyond = "Blur, px. Dark and outlined: beyond the permitted" + (limit ? " " + limit.toFixed(2) + " px" : "") + ". Palest: soft by nature, not held against it.";
  el("legend").replaceChildren(node, make("p", beyond + (frame().fitted && !frame().line ? " The line of best focus lies outside the picture." : "")));
}

// Words for the chosen tile.
function say() {
  const f = frame(), t = tilesOf(f)[cursor], b = box(f, cursor), limit = permitted(f);
  const um = (/** @type {number} */ px) => (f.pitch ? ", " + (px * f.pitch).toFixed(1) + " \u00b5m" : "");
  const where = "Column " + (b.c + 1) + " of " + f.cols + ", row " + (b.r + 1) + " of " + f.rows;
  const inside = ZONES.filter((_, z) => t.zones & 1 << z);
  const nodes = [make("p", where + (inside.length ? " (" + inside.join(", ") + ")" : "") + ".", { class: "where" })];
  if (t.blur === null) {
    nodes.push(make("p", "Not measured: " + STATES[t.state] + ".", { class: "big" }));
  } else {
    const w = limit ? word(f, t.blur, t.sd, limit) : "";
    nodes.push(make("p", withSd(t.blur, t.sd) + " px" + um(t.blur), { class: "big" }));
    nodes.push(make("p", (limit ? (w === "at limit" ? "At the limit of" : w === "within" ? "Within" : "Beyond") + " the permitted " + limit.toFixed(2) + " px; " : "") + STANDINGS[t.standing] + "." + (t.helped ? " Read together with the tiles around it." : "")));
  }
  if (t.defocus !== null || t.lens !== null) nodes.push(parts(f, t, um));
  el("tile-words").replaceChildren(...nodes);
}
/** @type {(f: Frame, t: any, um: (px: number) => string) => any} */
function parts(f, t, um) {
  /** @type {[string, number | null][]} */
  const rows = [["pixel", f.pixel], ["diffraction", t.diffraction], ["lens", t.lens], ["defocus", t.defocus], ["motion", t.motion]];
  const most = Math.max(...rows.map((p) => p[1] || 0), 0.1), table = make("table", null, { class: "budget" });
  table.append(make("caption", "What the fitted model makes of it"));
  for (const [name, px] of rows) {
    const row = make("tr"), bar = drawn("svg", { viewBox: "0 0 100 6", preserveAspectRatio: "none", class: "stroke", "aria-hidden": "true" });
    bar.append(drawn("rect", { y: 2, width: 100 * (px || 0) / most, height: 2.4 }));
    const cell = make("td", null, { class: "bar" });
    cell.append(bar);
    row.append(make("th", name, { scope: "row" }), make("td", px === null ? "unknown" : px === 0 ? "none" : px.toFixed(2) + " px" + um(px), { class: "figure" }), cell);
    table.append(row);
  }
  return table;
}

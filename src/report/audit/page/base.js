// @ts-check
// What every part of the page's script uses: the report's data, short ways to the document, numbers as text.

/** @typedef {any} Frame one record of the report's data */
/** @typedef {{x: number, y: number}} Place fractions of the picture */

/** @type {(id: string) => any} */
const el = (id) => document.getElementById(id);
/** @type {(selector: string, within?: ParentNode) => any[]} */
const all = (selector, within = document) => [...within.querySelectorAll(selector)];
const audit = JSON.parse(el("audit").textContent);
const JUDGEMENTS = ["within", "at_limit", "beyond", "unknown"], CAUSES = Object.keys(audit.causes);
// What search, order, filters and marks ask for is there of every frame, a column a quantity; the rest comes with its card.
/** @type {Frame[]} */
const shoot = audit.all.file.map((/** @type {string} */ file, /** @type {number} */ i) => {
  const of = audit.all, [w, h, cols, rows, permit, finest, pixel, pitch, lens, stop] = audit.kinds[of.kind[i]], ends = of.ends[i], proposed = of.proposed[i];
  return {
    file: audit.folder + file, name: of.name[i] ?? file, w, h, cols, rows, permit, finest, pixel, pitch, lens, stop,
    date: of.date[i], cause: CAUSES[of.cause[i]], throughout: of.throughout[i], group: of.group[i],
    zones: [of.near[i], of.far[i]], sharp: [JUDGEMENTS[ends >> 2], JUDGEMENTS[ends & 3]],
    proposed: proposed ? [proposed > 0, audit.reasons[Math.abs(proposed) - 1]] : undefined,
  };
});
const RECORD = ["laid", "why", "tiles", "line", "fitted", "point", "near", "far", "sheet", "laid_out", "full", "tiled", "crops"];
/** @type {(f: Frame, record: any) => void} */
function fillIn(f, record) {
  Object.assign(f, record);
}
// Without what its card brought.
/** @type {(f: Frame) => void} */
function bare(f) {
  for (const key of RECORD) delete f[key];
  f.zones = f.zones.slice(0, 2);
  f.sharp = f.sharp.slice(0, 2);
}
audit.held.forEach((/** @type {any} */ record, /** @type {number} */ i) => fillIn(shoot[i], record));
const nonce = /** @type {any} */ (document.currentScript).nonce;

const ZONES = ["near", "far", "centre", "top left", "top right", "bottom left", "bottom right"];
const STATES = ["measured", "too little detail to measure", "too many clipped samples", "its detail is not above the noise", "fine detail: only known to be at most so blurred", "no fine detail: only known to be at least so blurred", "the folder of pictures is not beside this page"];
const GLYPHS = ["", "\u00b7", "\u00d7", "~", "\u2264", "\u2265", ""];
const STANDINGS = ["on the ground", "part of the far scene", "nearer than the ground behind it", "farther than the ground there", "soft by nature: cloud, water, haze or something that moved", "not measured"];
const SOFT_BY_NATURE = 4;

/** @type {(name: string, text?: string | null, attributes?: Record<string, any>) => any} */
const make = (name, text, attributes) => {
  const node = document.createElement(name);
  if (text !== undefined && text !== null) node.textContent = text;
  for (const [key, value] of Object.entries(attributes || {})) node.setAttribute(key, value);
  return node;
};
/** @type {(name: string, attributes: Record<string, any>) => any} */
const drawn = (name, attributes) => {
  const node = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const key in attributes) node.setAttribute(key, attributes[key]);
  return node;
};
/** @type {(v: number, low: number, high: number) => number} */
const clamp = (v, low, high) => Math.min(high, Math.max(low, v));
/** @type {(v: number, sd: number) => string} */
const fixed = (v, sd) => v.toFixed(sd >= 1 ? 0 : sd >= 0.2 ? 1 : 2);
/** @type {(v: number, sd: number) => string} */
const withSd = (v, sd) => fixed(v, sd) + " \u00b1 " + fixed(Math.max(sd, sd < 0.2 ? 0.01 : 0), sd);

// Nine bytes a tile, the blur being the optical one: see the packing in the report's source.
/** @type {(f: Frame) => any[]} */
function tilesOf(f) {
  if (f.unpacked) return f.unpacked;
  const text = atob(f.tiles || "");
  const part = (/** @type {number} */ c) => c === 0 ? null : c === 1 ? 0 : 0.02 * Math.pow(1.025, c - 2);
  const tiles = [];
  for (let i = 0; i + 8 < text.length; i += 9) {
    const at = (/** @type {number} */ k) => text.charCodeAt(i + k);
    const blur = (at(0) | at(1) << 8) / 1000, code = at(2);
    tiles.push({
      blur: blur > 0 ? blur : null, sd: code < 2 ? 0.002 : 0.002 * Math.pow(1.04, code - 2),
      state: at(3) & 7, standing: at(3) >> 3 & 7, helped: (at(3) & 64) > 0, zones: at(4),
      diffraction: part(at(5)), defocus: part(at(6)), lens: part(at(7)), motion: part(at(8)),
    });
  }
  // Without its tiles (the folder left behind) a frame still opens, with nothing measured.
  while (tiles.length < f.cols * f.rows) tiles.push({ blur: null, sd: 0, state: 6, standing: 5, zones: 0, diffraction: null, defocus: null, lens: null, motion: null });
  f.unpacked = tiles;
  return tiles;
}
// In a shoot of more than a dozen frames the tiles and charts lie beside the page, some frames a script; those of the last few are kept.
/** @type {number[]} */
const loaded = [];
const KEPT_LOADED = 40;
/** @type {any} */ (globalThis).tussockFrame = (/** @type {number} */ i, /** @type {string} */ tiles, /** @type {(string | null)[]} */ charts) => {
  Object.assign(shoot[i], { tiles, charts });
  loaded.push(i);
  if (loaded.length > KEPT_LOADED) {
    const old = shoot[/** @type {number} */ (loaded.shift())];
    delete old.tiles; delete old.unpacked; delete old.charts;
  }
};
/** @type {(src: string, then: () => void, marks?: Record<string, string>) => void} */
function load(src, then, marks) {
  const script = document.createElement("script");
  script.nonce = nonce;
  Object.assign(script.dataset, marks);
  script.src = src;
  script.onload = script.onerror = () => { script.remove(); then(); };
  document.head.append(script);
}
/** @type {(i: number, then: () => void) => void} */
function withTiles(i, then) {
  if (shoot[i].unpacked || shoot[i].tiles !== undefined) return then();
  load("pictures/frames-" + String(Math.floor(i / audit.together) + 1).padStart(4, "0") + ".js", () => { if (shoot[i].tiles === undefined) shoot[i].tiles = ""; then(); });
}
// Charts that lie beside the page, as pictures, in which no script runs.
/** @type {(i: number, within: any) => void} */
function drawCharts(i, within) {
  const charts = shoot[i].charts || [];
  for (const picture of all("[data-chart]", within)) {
    const svg = charts[+picture.dataset.chart];
    if (svg) picture.src = "data:image/svg+xml," + encodeURIComponent(svg);
  }
}
// The rectangle of a tile, px of the picture.
/** @type {(f: Frame, i: number) => {c: number, r: number, x: number, y: number, w: number, h: number}} */
const box = (f, i) => {
  const c = i % f.cols, r = Math.floor(i / f.cols), at = (/** @type {number} */ k, /** @type {number} */ n, /** @type {number} */ size) => Math.floor(k * size / n);
  const x = at(c, f.cols, f.w), y = at(r, f.rows, f.h);
  return { c, r, x, y, w: at(c + 1, f.cols, f.w) - x, h: at(r + 1, f.rows, f.h) - y };
};
// The inverse of `box`: the tile whose edges enclose a place.
/** @type {(f: Frame, p: Place) => number} */
const tileAt = (f, p) => {
  const find = (/** @type {number} */ v, /** @type {number} */ n, /** @type {number} */ size) => {
    let k = clamp(Math.floor(v * n / size), 0, n - 1);
    while (k > 0 && Math.floor(k * size / n) > v) k--;
    while (k < n - 1 && Math.floor((k + 1) * size / n) <= v) k++;
    return k;
  };
  return find(p.y * f.h, f.rows, f.h) * f.cols + find(p.x * f.w, f.cols, f.w);
};

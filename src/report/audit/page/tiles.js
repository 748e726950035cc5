// @ts-check
// Whole pictures in tiles: one script a frame, asked for when a place of it is looked at; decoded are the tiles in sight.

/** @typedef {{side: number, w: number, h: number, tiles: string[]}} Whole */

/** @type {Map<number, Whole>} the whole pictures at hand, the one looked at last behind the others */
const wholes = new Map();
const KEPT_WHOLES = 2;
/** @type {Map<string, any>} decoded tiles, each of a megabyte, likewise */
const decoded = new Map();
const KEPT_TILES = 64;
/** @type {Map<string, Promise<any>>} tiles on their way */
const decoding = new Map();
/** @type {Map<number, (() => void)[]>} who waits for a whole picture */
const awaited = new Map();

/** @type {(map: Map<any, any>, key: any, value: any, most: number, drop: (value: any) => void) => void} */
function keepLast(map, key, value, most, drop) {
  map.delete(key);
  map.set(key, value);
  for (const [old, its] of map) {
    if (map.size <= most) break;
    map.delete(old);
    drop(its);
  }
}
/** @type {any} */ (globalThis).tussockTiles = (/** @type {number} */ side, /** @type {number} */ w, /** @type {number} */ h, /** @type {string[]} */ tiles) => {
  const i = +(/** @type {any} */ (document.currentScript).dataset.of);
  if (shoot[i] && shoot[i].w === w && shoot[i].h === h) keepLast(wholes, i, { side, w, h, tiles }, KEPT_WHOLES, () => {});
};
/** @type {(i: number, then: () => void) => void} */
function withWhole(i, then) {
  const known = wholes.get(i);
  if (known) { keepLast(wholes, i, known, KEPT_WHOLES, () => {}); return then(); }
  const waiting = awaited.get(i);
  if (waiting) { waiting.push(then); return; }
  awaited.set(i, [then]);
  load(shoot[i].tiled, () => {
    const all = awaited.get(i) || [];
    awaited.delete(i);
    // A file that was left behind leaves the patches.
    if (!wholes.has(i)) { shoot[i].tiled = null; putAway(); if (desk.open) windows(); }
    all.forEach((then) => then());
  }, { of: String(i) });
}
/** @type {(i: number, k: number, then: (bitmap: any) => void) => void} */
function withTile(i, k, then) {
  const key = i + ":" + k, known = decoded.get(key), whole = wholes.get(i);
  if (known) { keepLast(decoded, key, known, KEPT_TILES, () => {}); return then(known); }
  if (!whole || !whole.tiles[k]) return;
  let coming = decoding.get(key);
  if (!coming) {
    const bytes = Uint8Array.from(atob(whole.tiles[k]), (c) => c.charCodeAt(0));
    coming = createImageBitmap(new Blob([bytes], { type: "image/jpeg" })).then((bitmap) => {
      decoding.delete(key);
      keepLast(decoded, key, bitmap, KEPT_TILES, (old) => old.close());
      return bitmap;
    });
    decoding.set(key, coming);
  }
  coming.then(then, () => {});
}
// Draws what a canvas shows about a place of a frame; tiles come in as they are decoded. `drawn`: when all are there.
/** @type {(view: any, i: number, cx: number, cy: number, drawn: () => void) => void} */
function drawTiles(view, i, cx, cy, drawn) {
  const fine = window.devicePixelRatio || 1, scale = density() * fine;
  const width = Math.round(view.clientWidth * fine), height = Math.round(view.clientHeight * fine);
  if (view.width !== width || view.height !== height) { view.width = width; view.height = height; }
  const g = view.getContext("2d"), turn = (view.turn || 0) + 1;
  // What is on its way for an earlier place is no longer wanted.
  view.turn = turn;
  delete view.dataset.drawn;
  g.clearRect(0, 0, width, height);
  g.imageSmoothingEnabled = scale < 1;
  withWhole(i, () => {
    const whole = wholes.get(i);
    if (!whole || view.turn !== turn) return;
    const left = Math.round(width / 2 - cx * scale), top = Math.round(height / 2 - cy * scale);
    const across = Math.ceil(whole.w / whole.side), down = Math.ceil(whole.h / whole.side), side = whole.side * scale;
    const first = (/** @type {number} */ at) => Math.max(0, Math.floor(-at / side));
    const last = (/** @type {number} */ at, /** @type {number} */ size, /** @type {number} */ count) => Math.min(count - 1, Math.floor((size - 1 - at) / side));
    const seen = [];
    for (let r = first(top); r <= last(top, height, down); r++) for (let c = first(left); c <= last(left, width, across); c++) seen.push([r, c]);
    let missing = seen.length;
    for (const [r, c] of seen) withTile(i, r * across + c, (bitmap) => {
      if (view.turn !== turn) return;
      g.drawImage(bitmap, left + c * side, top + r * side, bitmap.width * scale, bitmap.height * scale);
      missing -= 1;
      if (missing === 0) { view.dataset.drawn = left + "," + top; drawn(); }
    });
  });
}

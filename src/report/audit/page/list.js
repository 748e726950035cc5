// @ts-check
// The list of frames and the sheet of small pictures: choosing, searching, order.

/** @type {(a: any, b: any) => number} */
const byText = (a, b) => (a < b ? -1 : a > b ? 1 : 0);
/** @type {(select: any, values: any[], say: (v: any) => string) => void} */
function fill(select, values, say) {
  for (const v of values) select.append(make("option", say(v), { value: v }));
  if (values.length < 2) select.closest("label").hidden = true;
}
/** @type {(of: (f: Frame) => any) => any[]} */
const distinct = (of) => [...new Set(shoot.map(of).filter((v) => v !== null && v !== undefined))];
fill(el("by-lens"), distinct((f) => f.lens).sort(byText), (v) => v);
if (el("by-group")) fill(el("by-group"), audit.groups.map((/** @type {any} */ _, /** @type {number} */ k) => k), (k) => "Scene " + (k + 1));
fill(el("by-stop"), distinct((f) => f.stop).sort((a, b) => a - b), (v) => "f/" + v);

// Blur over what is permitted, so that frames of different cameras can be set in one order; what is unknown comes last.
/** @type {(f: Frame, zones: number[]) => number} */
function ratio(f, zones) {
  const limit = permitted(f), known = zones.map((z) => f.zones[z][0]);
  return limit && known.every((v) => v !== null) ? Math.max(...known) / limit : Infinity;
}
// What frames are ordered by: once a frame, since there may be thousands.
/** @type {Record<string, (f: Frame) => any>} */
const ORDERS = {
  file: () => 0,
  time: (f) => f.date || "~",
  near: (f) => ratio(f, [0]),
  far: (f) => ratio(f, [1]),
  both: (f) => ratio(f, [0, 1]),
  cause: causeOf,
  stop: (f) => f.stop || 999,
  lens: (f) => f.lens || "~",
};
let shown = shoot.map((_, i) => i), laid = "";

/** @type {(id: string) => string} */
const want = (id) => (el(id) ? el(id).value : "");
/** @type {(f: Frame, cause: string) => boolean} */
const answers = (f, cause) => !cause || causeOf(f) === cause || cause === "is:" + throughout(f);
function choose() {
  const cause = want("by-cause"), lens = want("by-lens"), stop = want("by-stop"), group = want("by-group"), mark = want("by-mark");
  const sought = want("search").trim().toLowerCase();
  /** @type {(f: Frame, i: number) => boolean} */
  const fits = (f, i) => answers(f, cause) && (!lens || f.lens === lens) && (!stop || String(f.stop) === stop) && (!group || String(f.group) === group)
    && (!sought || f.name.toLowerCase().includes(sought)) && (!mark || mark === markOf(i));
  const kind = want("order"), way = el("backwards").checked ? -1 : 1;
  const by = shoot.map(ORDERS[kind]);
  const sorted = shoot.map((_, i) => i).sort((a, b) => way * (byText(by[a], by[b]) || a - b));
  shown = sorted.filter((i) => fits(shoot[i], i));
  // Laid out anew only where something changes, so that the focus stays.
  const order = shown.join();
  if (laid !== order) {
    laid = order;
    laidCards.lay(shown);
  }
  el("status").textContent = shown.length === shoot.length ? "" : "Showing " + shown.length + " of " + shoot.length + " frames.";
  for (const button of all("[data-choose]")) button.setAttribute("aria-pressed", String(button.dataset.choose === cause));
}
/** @type {(small: boolean) => void} */
function layOut(small) {
  list.classList.toggle("sheet", small);
  el("as-sheet").setAttribute("aria-pressed", String(small));
  el("as-list").setAttribute("aria-pressed", String(!small));
  laidCards.again();
}
// A tally in the headline chooses its frames; once more, all.
/** @type {(value: string) => void} */
function pick(value) {
  el("by-cause").value = el("by-cause").value === value ? "" : value;
  choose();
  el("frames").scrollIntoView();
}

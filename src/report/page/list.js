// @ts-check
// The list of frames and the sheet of small pictures: choosing, searching, order.

const list = el("entries");
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
fill(el("by-stop"), distinct((f) => f.stop).sort((a, b) => a - b), (v) => "f/" + v);

// Blur over what is permitted, so that frames of different cameras can be set in one order; what is unknown comes last.
/** @type {(i: number, zones: number[]) => number} */
function ratio(i, zones) {
  const f = shoot[i], limit = permitted(f), known = zones.map((z) => f.zones[z][0]);
  return limit && known.every((v) => v !== null) ? Math.max(...known) / limit : Infinity;
}
/** @type {(zones: number[]) => (a: number, b: number) => number} */
const sharpest = (zones) => (a, b) => { const x = ratio(a, zones), y = ratio(b, zones); return x === y ? 0 : x - y; };
/** @type {Record<string, (a: number, b: number) => number>} */
const ORDERS = {
  file: () => 0,
  time: (a, b) => byText(shoot[a].date || "~", shoot[b].date || "~"),
  near: sharpest([0]),
  far: sharpest([1]),
  both: sharpest([0, 1]),
  cause: (a, b) => byText(causeOf(shoot[a]), causeOf(shoot[b])),
  stop: (a, b) => (shoot[a].stop || 999) - (shoot[b].stop || 999),
  lens: (a, b) => byText(shoot[a].lens || "~", shoot[b].lens || "~"),
};
let shown = shoot.map((_, i) => i), laid = "file";

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
  const order = want("order") + (el("backwards").checked ? " backwards" : "") + " " + useTyped();
  const kind = want("order"), way = el("backwards").checked ? -1 : 1;
  const sorted = shoot.map((_, i) => i).sort((a, b) => way * (ORDERS[kind](a, b) || a - b));
  shown = sorted.filter((i) => fits(shoot[i], i));
  const visible = new Set(shown);
  entries.forEach((entry, i) => { if (entry.hidden === visible.has(i)) entry.hidden = !visible.has(i); });
  if (laid !== order) {
    laid = order;
    list.append(...sorted.map((i) => entries[i]));
  }
  el("status").textContent = shown.length === shoot.length ? "" : "Showing " + shown.length + " of " + shoot.length + " frames.";
  for (const button of all("[data-choose]")) button.setAttribute("aria-pressed", String(button.dataset.choose === cause));
}
/** @type {(small: boolean) => void} */
function layOut(small) {
  list.classList.toggle("sheet", small);
  el("as-sheet").setAttribute("aria-pressed", String(small));
  el("as-list").setAttribute("aria-pressed", String(!small));
}
// A tally in the headline chooses its frames; once more, all.
/** @type {(value: string) => void} */
function pick(value) {
  el("by-cause").value = el("by-cause").value === value ? "" : value;
  choose();
  el("frames").scrollIntoView();
}

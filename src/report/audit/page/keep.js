// @ts-check
// Keep or leave out: marks that can be taken back, remembered by the browser for this report, and written as lists.

const SHELF = "tussock.report." + audit.id;
/** @type {{keep: Record<string, boolean>, places: Record<string, {near?: Place, far?: Place}>}} */
let kept = { keep: {}, places: {} };
let remembered = true;
try {
  const text = localStorage.getItem(SHELF);
  if (text) kept = { ...kept, ...JSON.parse(text) };
} catch { remembered = false; }
function remember() {
  // A browser may give pages from disk no room of their own; the marks then last as long as the page is open.
  try { localStorage.setItem(SHELF, JSON.stringify(kept)); } catch { remembered = false; }
}

/** @type {[string, boolean | undefined][][]} each step holds what stood before it */
const steps = [];
/** @type {(i: number) => string} */
const markOf = (i) => { const mark = kept.keep[shoot[i].file]; return mark === undefined ? "open" : mark ? "keep" : "out"; };
/** @type {(changes: [number, boolean | undefined][]) => void} */
function mark(changes) {
  const real = changes.filter(([i, value]) => kept.keep[shoot[i].file] !== value);
  if (!real.length) return;
  steps.push(real.map(([i]) => [shoot[i].file, kept.keep[shoot[i].file]]));
  for (const [i, value] of real) set(shoot[i].file, value);
  remember();
  showMarks();
}
/** @type {(file: string, value: boolean | undefined) => void} */
function set(file, value) { if (value === undefined) delete kept.keep[file]; else kept.keep[file] = value; }
function takeBack() {
  for (const [file, value] of steps.pop() || []) set(file, value);
  remember();
  showMarks();
}
// Where somebody has marked a frame, that stands; the proposal fills in the others.
function takeProposal() {
  mark(shoot.map((f, i) => /** @type {[number, boolean | undefined]} */ ([i, f.proposed ? f.proposed[0] : undefined])).filter(([i, v]) => v !== undefined && markOf(i) === "open"));
}
/** @type {(i: number, value: boolean) => void} */
const toggle = (i, value) => mark([[i, kept.keep[shoot[i].file] === value ? undefined : value]]);
/** @type {(f: Frame) => string} */
const proposal = (f) => f.proposed ? "proposed: " + (f.proposed[0] ? "keep" : "leave out") + ", " + f.proposed[1] : "no proposal: have a look";
/** @type {Record<string, string>} */
const MARKS = { keep: "kept", out: "left out", open: "" };

/** @type {(i: number, entry: any) => void} */
function showMarkOf(i, entry) {
  const state = markOf(i);
  if (entry.dataset.mark === state) return;
  entry.dataset.mark = state;
  entry.querySelector(".marked").textContent = state === "open" ? proposal(shoot[i]) : MARKS[state];
  for (const button of all("[data-mark]", entry)) button.setAttribute("aria-pressed", String(button.dataset.mark === state));
}
function showMarks() {
  for (const [i, entry] of cards) showMarkOf(i, entry);
  const n = (/** @type {string} */ state) => shoot.filter((_, i) => markOf(i) === state).length;
  el("keep-words").textContent = n("keep") + " kept, " + n("out") + " left out, " + n("open") + " open" + (remembered ? "" : "; this browser will forget them when the page is closed");
  el("undo").disabled = steps.length === 0;
  el("take").disabled = !shoot.some((f, i) => f.proposed && markOf(i) === "open");
  if (el("kept-names").closest("details").open) el("kept-names").value = names("keep");
  if (want("by-mark")) choose();
  if (desk.open) showMark();
}
/** @type {(state: string) => string[]} */
const filesOf = (state) => shoot.filter((_, i) => markOf(i) === state).map((f) => f.file);
/** @type {(state: string) => string} */
const names = (state) => filesOf(state).map((f) => f + "\n").join("");
/** @type {(name: string, kind: string, text: string) => void} */
function save(name, kind, text) {
  const address = URL.createObjectURL(new Blob([text], { type: kind }));
  const link = make("a", null, { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
}
const writeKeepList = () => {
  save("tussock-keep.json", "application/json", JSON.stringify({ format: "tussock.keep", version: 1, report: audit.id, keep: filesOf("keep"), leave_out: filesOf("out") }, null, 1) + "\n");
  el("keep-said").textContent = "Saved as tussock-keep.json, among this browser's downloads.";
};

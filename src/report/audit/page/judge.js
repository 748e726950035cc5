// @ts-check
// Judging for another use by the report's own rule and numbers, and everything on the page that depends on it.

// Error function after Abramowitz and Stegun 7.1.26 (error below 1.5e-7), for the chance that a blur is too wide.
/** @type {(value: number, sd: number, limit: number) => number} */
function above(value, sd, limit) {
  const z = (value - limit) / Math.max(sd, 1e-3) / Math.SQRT2, x = Math.abs(z);
  const t = 1 / (1 + 0.3275911 * x);
  const erf = 1 - t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429)))) * Math.exp(-x * x);
  return 0.5 * (1 + Math.sign(z) * erf);
}
/** @type {(f: Frame, value: number, sd: number, limit: number) => string} */
function word(f, value, sd, limit) {
  const rule = audit.rule;
  return above(value, sd, Math.max(rule.room * limit, f.finest)) > rule.beyond ? "beyond" : above(value, sd, limit) < rule.within ? "within" : "at limit";
}
/** @type {(w: string) => boolean} */
const passes = (w) => w === "within" || w === "at limit";
/** @type {Record<string, string>} */
const AUDITED = { within: "within", at_limit: "at limit", beyond: "beyond", unknown: "unknown" };
const otherUse = () => el("use").value !== "";

// Widest permitted optical blur of a frame in the use chosen on the page.
/** @type {(f: Frame) => number | null} */
function permitted(f) {
  const use = el("use").value;
  if (!use) return f.permit;
  let disc = 2;
  if (use === "diagonal") disc = Math.hypot(f.w, f.h) / 1500;
  if (use === "print") {
    const p = paper(), long = Math.max(f.w, f.h), short = Math.min(f.w, f.h);
    // One minute of arc at the viewing distance, carried back to pixels.
    disc = p.d * Math.PI / 180 / 60 / Math.max(Math.max(p.w, p.h) / long, Math.min(p.w, p.h) / short);
  }
  return audit.disc_sigma * Math.max(disc, audit.rule.finest_disc);
}
function paper() {
  const v = (/** @type {string} */ id) => { const n = parseFloat(el(id).value); return n > 0 && isFinite(n) ? n : 1; };
  return { w: v("print-w"), h: v("print-h"), d: v("print-d") };
}
function useTyped() {
  const use = el("use").value, p = paper();
  return use === "print" ? "print:" + p.w + "x" + p.h + "cm@" + p.d + "cm" : use || audit.sharp_for;
}
const auditedUse = el("use-words").textContent;
/** @type {() => string} */
function useWords() {
  const p = paper();
  return /** @type {any} */ ({ "": auditedUse, diagonal: "ordinary viewing (a blur disc of the sensor's diagonal / 1500)", "1:1": "inspection at 1:1 (a blur disc of two pixels)",
    print: "a print of " + p.w + " x " + p.h + " cm seen from " + p.d + " cm" })[el("use").value];
}

// The audit's own word for its own use; for another, by the zone's number, where it has one that tells.
/** @type {(f: Frame, zone: number) => string} */
function zoneWord(f, zone) {
  const z = f.zones[zone], limit = permitted(f);
  if (!otherUse()) return AUDITED[f.sharp[zone]];
  return f.sharp[zone] === "unknown" || z[0] === null || limit === null ? "unknown" : word(f, z[0], z[1] === null ? 0.05 : z[1], limit);
}
// Whether a frame is sharp from near to far: true, false, or null where that is unknown.
/** @type {(f: Frame) => boolean | null} */
function throughout(f) {
  if (!otherUse()) return f.throughout;
  const w = [zoneWord(f, 0), zoneWord(f, 1)];
  return w.includes("beyond") ? false : w.every(passes) ? true : null;
}
// The verdict: the audit's own where it still explains the answer.
/** @type {(f: Frame) => string} */
function causeOf(f) {
  const now = throughout(f);
  return !otherUse() || now === f.throughout ? f.cause : now ? "sharp_throughout" : "cannot_tell";
}
/** @type {(f: Frame) => string} */
function lineOf(f) {
  if (!otherUse()) return f.said;
  const now = throughout(f), ends = audit.ends[zoneWord(f, 0) + "," + zoneWord(f, 1)];
  const why = now !== false ? "" : f.throughout === false && f.why ? ": " + f.why : ": cause not judged for this use";
  return ends + why + ".";
}
/** @type {(f: Frame) => string} */
function detailOf(f) {
  const one = (/** @type {number} */ zone) => zoneWord(f, zone) === "unknown" ? "unknown" : f.zones[zone][0].toFixed(2) + " px";
  const limit = permitted(f);
  return "Near " + one(0) + ", far " + one(1) + (limit ? "; permitted " + limit.toFixed(2) + " px for " + useWords() : "") + ".";
}
/** @type {(f: Frame) => string} */
function adviceOf(f) {
  const now = throughout(f);
  return now === f.throughout ? "" : now === true ? "Nothing to change for this use." : now === false ? "Audit again for this use to learn why; the frame, opened, has the command." : "";
}

/** @type {(n: number, of: number) => string} */
const headlineOf = (n, of) => of === 1 ? el("headline").textContent : n === of ? "All " + of + " frames are sharp from near to far" : n === 0 ? "None of " + of + " frames is known to be sharp from near to far" : n + " of " + of + " frames " + (n === 1 ? "is" : "are") + " sharp from near to far";
const auditedHeadline = el("headline").textContent;
/** @type {(of: (f: Frame) => any) => Map<any, number>} */
const tallied = (of) => shoot.reduce((m, f) => m.set(of(f), (m.get(of(f)) || 0) + 1), new Map());

// Everything that speaks of the use.
function judge() {
  el("print").hidden = el("use").value !== "print";
  el("use-words").textContent = useWords();
  el("rejudged").hidden = !otherUse();
  el("rejudged").textContent = otherUse() ? "Judged on this page for " + useWords() + "; the audit was for " + auditedUse + "." : "";
  const answers = tallied(throughout), causes = tallied(causeOf);
  el("headline").textContent = otherUse() ? headlineOf(answers.get(true) || 0, shoot.length) : auditedHeadline;
  for (const id of ["lede", "again"]) if (el(id)) el(id).hidden = otherUse();
  for (const button of all("[data-choose]")) {
    const [kind, value] = button.dataset.choose.split(":");
    const n = kind === "is" ? answers.get(JSON.parse(value)) || 0 : causes.get(kind) || 0;
    const figure = button.querySelector(".n") || button.closest("tr")?.querySelector(".figure");
    if (figure) figure.textContent = n;
    const row = button.closest("tr") || button;
    row.hidden = n === 0;
    const stroke = row.querySelector(".stroke rect");
    if (stroke) stroke.setAttribute("width", (100 * n / shoot.length).toFixed(0));
  }
  for (const option of all("#by-cause option")) {
    const n = option.value.startsWith("is:") || !option.value ? null : causes.get(option.value) || 0;
    if (n !== null) option.textContent = option.dataset.name + " (" + n + ")";
  }
  for (const lesson of all("[data-lesson]")) {
    const n = causes.get(lesson.dataset.lesson) || 0;
    lesson.hidden = n === 0;
    if (lesson.querySelector(".count")) lesson.querySelector(".count").textContent = n;
  }
  for (const row of all("[data-setting]")) {
    const [lens, stop] = JSON.parse(row.dataset.setting);
    const own = shoot.filter((f) => f.lens === lens && f.stop === stop), others = own.filter((f) => throughout(f) !== true).map(causeOf).filter((c) => c !== "sharp_throughout");
    row.querySelector("[data-sharp]").textContent = own.filter((f) => throughout(f) === true).length;
    const most = [...new Set(others)].sort((a, b) => others.filter((c) => c === b).length - others.filter((c) => c === a).length)[0];
    row.querySelector("[data-most]").textContent = most ? audit.causes[most] : "";
  }
  for (const [i, entry] of cards) judgeEntry(shoot[i], entry);
  choose();
  if (desk.open) show();
}
/** @type {(f: Frame, entry: any) => void} */
function judgeEntry(f, entry) {
  entry.querySelector(".verdict").textContent = lineOf(f);
  // The audit's own words come back with its own use.
  for (const node of all(".detail, .advice", entry)) {
    if (node.dataset.audited === undefined) node.dataset.audited = node.textContent;
    const kept = node.classList.contains("advice") && throughout(f) === f.throughout;
    node.textContent = !otherUse() || kept ? node.dataset.audited : node.classList.contains("detail") ? detailOf(f) : adviceOf(f);
  }
  for (const cell of all("[data-zone]", entry)) cell.textContent = zoneWord(f, +cell.dataset.zone);
  all(".glyph path", entry).forEach((path, z) => path.setAttribute("class", zoneWord(f, 1 - z).replace(" ", "-")));
  const stroke = entry.querySelector(".ribbon .blur"), limit = permitted(f);
  if (!stroke) return;
  if (f.permit > 0 && limit) stroke.setAttribute("transform", "translate(0 16) scale(1 " + clamp(f.permit / limit, 0.05, 8).toFixed(3) + ") translate(0 -16)");
  entry.querySelector(".ribbon").setAttribute("aria-label", "Blur from near to far: " + [0, 2, 1].map((z) => ZONES[z] + " " + zoneWord(f, z)).join(", "));
}
/** @type {(value: string) => void} */
function units(value) {
  document.body.classList.toggle("imperial", value === "imperial");
  document.body.classList.toggle("metric", value !== "imperial");
  for (const radio of all("[name=units]")) radio.checked = radio.value === value;
}

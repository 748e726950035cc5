// @ts-check
// What was asked of the page by pointer and form, and the start.

/** @type {(event: any) => Place} */
function pointed(event) {
  const r = stage.getBoundingClientRect();
  return { x: clamp((event.clientX - r.left) / r.width, 0, 0.99999), y: clamp((event.clientY - r.top) / r.height, 0, 0.99999) };
}
stage.addEventListener("pointermove", (/** @type {any} */ e) => {
  const p = pointed(e), i = tileAt(frame(), p);
  magnify(p, e.clientX, e.clientY);
  if (i !== cursor) { cursor = i; over(); say(); }
});
desk.addEventListener("pointerdown", drag);
stage.addEventListener("pointerleave", putAway);
stage.addEventListener("blur", putAway);
stage.addEventListener("click", (/** @type {any} */ e) => {
  const p = pointed(e);
  cursor = tileAt(frame(), p);
  say();
  act(all("[name=mode]").find((radio) => radio.checked).value, p);
});
for (const id of ["strength", "numbers", "zones"]) el(id).addEventListener("input", () => paint());
/** @type {(id: string, does: () => void) => void} */
const onClick = (id, does) => el(id).addEventListener("click", does);
onClick("previous", () => step(-1));
onClick("next", () => step(1));
onClick("close", () => desk.close());
onClick("swap", () => swap());
onClick("map-large", mapLarge);
onClick("forget", forget);
onClick("keys-open", () => el("keys").showModal());
onClick("desk-keys", () => el("keys").showModal());
onClick("keys-close", () => el("keys").close());
onClick("take", takeProposal);
onClick("undo", takeBack);
onClick("write", writeKeepList);
onClick("write-kept", () => save("kept.txt", "text/plain", names("keep")));
onClick("write-out", () => save("left-out.txt", "text/plain", names("out")));
onClick("as-sheet", () => layOut(true));
onClick("as-list", () => layOut(false));
onClick("copy", () => {
  el("command").select();
  // The clipboard may be closed to pages opened from disk; the text is selected for copying by hand then.
  if (navigator.clipboard) navigator.clipboard.writeText(el("command").value).then(() => { el("copy").textContent = "Copied"; }, () => {});
});
el("beside").addEventListener("change", () => compareWith(el("beside").value === "" ? null : +el("beside").value));
el("both").addEventListener("change", windows);
for (const button of all("[data-eye]")) button.addEventListener("click", () => { eye = button.dataset.eye; windows(); over(); });
for (const button of all("[data-zoom]")) button.addEventListener("click", () => scale(+button.dataset.zoom));
for (const button of all("#desk [data-mark]")) button.addEventListener("click", () => toggle(now, button.dataset.mark === "keep"));
for (const id of ["by-cause", "by-lens", "by-stop", "by-group", "by-mark", "order", "backwards"]) if (el(id)) el(id).addEventListener("change", choose);
el("search").addEventListener("input", choose);
for (const id of ["use", "print-w", "print-h", "print-d"]) el(id).addEventListener("input", judge);
for (const radio of all("[name=units]")) radio.addEventListener("change", () => units(radio.value));
el("tools").addEventListener("submit", (/** @type {any} */ e) => e.preventDefault());
window.addEventListener("hashchange", route);
new ResizeObserver(() => { if (desk.open) { paint(); windows(); } }).observe(stage);

// Words that become buttons, now that something answers to them.
for (const words of all("[data-choose]")) {
  const button = make("button", null, { type: "button", class: "pick", "data-choose": words.dataset.choose, "aria-pressed": "false" });
  button.append(...words.childNodes);
  words.replaceWith(button);
  button.addEventListener("click", () => pick(button.dataset.choose));
}
all(".entry").forEach((entry, i) => dress(i, entry));
el("kept-names").closest("details").addEventListener("toggle", showMarks);
list.addEventListener("toggle", (/** @type {any} */ e) => {
  const entry = e.target.closest(".entry"), i = entry ? +entry.id.slice(6) - 1 : -1;
  if (i >= 0 && e.target.open && all("[data-chart]:not([src])", entry).length) withTiles(i, () => drawCharts(i, entry));
}, true);
// On a fine screen one picture pixel a screen pixel is too small to judge at arm's length.
if (window.devicePixelRatio >= 1.75) zoom = 2;
units(document.body.classList.contains("imperial") ? "imperial" : "metric");
el("tools").hidden = el("keep").hidden = shoot.length === 0;
// A shoot is looked over in small pictures, a handful of frames read one by one.
layOut(shoot.length > 12);
showMarks();
if (shoot.length) choose();
route();
document.documentElement.dataset.ready = "yes";

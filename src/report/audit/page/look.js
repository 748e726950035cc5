// @ts-check
// Looking closely: the windows at 1:1 and 2:1, the frame they are compared with, and the glass that follows the pointer.

const FIRST = ["near", "far", "bottom-left", "bottom-right"];
/** @type {Record<string, string>} */
const PLACES = { near: "Near", far: "Far", "bottom-left": "Bottom left", "bottom-right": "Bottom right", best: "Best focused", centre: "Centre", "top-left": "Top left", "top-right": "Top right", place: "The place you chose" };
let zoom = 1;
/** Which place fills the windows' room; all four where empty. */
let eye = "";
/** @type {Place | null} a place of the reader's own choice */
let place = null;
/** @type {number | null} the frame that is compared */
let other = null;
let swapped = false;

// Screen pixels are finer than the page's on some screens; 1:1 means one picture pixel a screen pixel.
const density = () => zoom / Math.max(1, window.devicePixelRatio || 1);
/** @type {(c: any[]) => any} */
const spotOf = (c) => ({ name: c[0], slug: c[0] === "Best focused" ? "best" : c[0].toLowerCase().replace(" ", "-"), x: c[1], y: c[2], w: c[3], h: c[4], at: [c[5], c[6]], tile: c[7] });
/** @type {(f: Frame) => any[]} */
const spotsOf = (f) => f.crops.map(spotOf);
/** @type {(f: Frame, p: Place) => any} */
const spotAt = (f, p) => ({ name: PLACES.place, slug: "place", x: p.x * f.w - 128, y: p.y * f.h - 128, w: 256, h: 256, at: null, tile: tileAt(f, p) });

// One window about the middle of a spot: the stored patch at once, the whole picture over it where the patch is too small.
/** @type {(f: Frame, spot: any) => any} */
function pane(f, spot) {
  const view = make("div", null, { class: "crop" }), px = density();
  const cx = spot.x + spot.w / 2, cy = spot.y + spot.h / 2;
  const add = (/** @type {string} */ src, /** @type {number} */ x, /** @type {number} */ y, /** @type {number} */ w, /** @type {number} */ h) => {
    const picture = make("img", null, { alt: "", decoding: "async", src });
    picture.style.width = w * px + "px"; picture.style.height = h * px + "px";
    picture.style.left = "calc(50% - " + x * px + "px)"; picture.style.top = "calc(50% - " + y * px + "px)";
    if (zoom > 1) picture.classList.add("coarse");
    view.append(picture);
    return picture;
  };
  // A patch is a part of the frame's sheet, of which the rest is cut away.
  const patch = (/** @type {any} */ s, /** @type {number} */ x, /** @type {number} */ y) => {
    const [width, height] = f.laid_out, [left, top] = s.at;
    const picture = add(f.sheet, left + x, top + y, width, height);
    picture.style.clipPath = "inset(" + [top, width - left - s.w, height - top - s.h, left].map((n) => n * px + "px").join(" ") + ")";
  };
  if (spot.at) patch(spot, spot.w / 2, spot.h / 2);
  else if (!f.tiled && !f.full) {
    const near = nearestPatch(f, cx, cy);
    if (!near) return make("p", "This report was written without pictures.", { class: "crop none" });
    patch(near, clamp(cx - near.x, 0, near.w), clamp(cy - near.y, 0, near.h));
    view.append(make("p", "The nearest patch kept: " + near.name.toLowerCase() + ". Audit again with --renditions to look anywhere.", { class: "crop-note" }));
  }
  // What would lie outside the picture is room for more of it.
  const inside = (/** @type {number} */ at, /** @type {number} */ room, /** @type {number} */ size) => clamp(at, Math.min(room / px / 2, size / 2), Math.max(size - room / px / 2, size / 2));
  const middle = (/** @type {number} */ dx, /** @type {number} */ dy) => ({ x: inside(cx + dx, view.clientWidth, f.w), y: inside(cy + dy, view.clientHeight, f.h) });
  // Shows the place, or one so many pixels of the picture beside it, from the whole picture; says where the middle is then.
  view.whole = (/** @type {number} */ dx = 0, /** @type {number} */ dy = 0) => {
    const at = middle(dx, dy), moved = dx !== 0 || dy !== 0;
    if (!f.tiled && !f.full || !moved && spot.at && view.clientWidth <= spot.w * px + 1 && view.clientHeight <= spot.h * px + 1) return at;
    const patches = all("img", view).filter((p) => p !== view.picture);
    if (f.tiled) {
      if (!view.canvas) view.append(view.canvas = make("canvas"));
      drawTiles(view.canvas, shoot.indexOf(f), at.x, at.y, () => patches.forEach((p) => p.remove()));
    } else if (view.picture) {
      view.picture.style.left = "calc(50% - " + at.x * px + "px)"; view.picture.style.top = "calc(50% - " + at.y * px + "px)";
    } else {
      const picture = view.picture = add(f.full, at.x, at.y, f.w, f.h);
      picture.addEventListener("load", () => patches.forEach((p) => p.remove()));
      // An original that was moved away leaves the patch.
      picture.addEventListener("error", () => { picture.remove(); view.picture = null; });
    }
    return at;
  };
  view.of = f;
  if (f.tiled || f.full) view.classList.add("live");
  return view;
}
/** @type {(f: Frame, x: number, y: number) => any} */
function nearestPatch(f, x, y) {
  const apart = (/** @type {any} */ s) => Math.hypot(x - s.x - s.w / 2, y - s.y - s.h / 2);
  return spotsOf(f).sort((a, b) => apart(a) - apart(b))[0];
}
/** @type {(f: Frame, spot: any) => string} */
function numbers(f, spot) {
  // A zone's window carries the zone's own number, which the answer rests on.
  const zone = ["near", "far", "centre", "top-left", "top-right", "bottom-left", "bottom-right"].indexOf(spot.slug), z = f.zones[zone];
  if (z && z[0] !== null) return withSd(z[0], z[1] || 0.05) + " px, " + zoneWord(f, zone);
  if (z && zoneWord(f, zone) === "beyond") return "beyond, too blurred to measure";
  const i = spot.tile !== null && spot.tile !== undefined ? spot.tile : tileAt(f, { x: (spot.x + spot.w / 2) / f.w, y: (spot.y + spot.h / 2) / f.h });
  const t = tilesOf(f)[i], limit = permitted(f);
  if (!t || t.blur === null) return "not measured: " + STATES[t ? t.state : 1];
  const w = t.standing === SOFT_BY_NATURE ? ", soft by nature" : limit ? ", " + word(f, t.blur, t.sd, limit) : "";
  // Of a zone that nothing is known of, the patch says no more than its own width.
  return z ? "unknown; this spot " + withSd(t.blur, t.sd) + " px" : withSd(t.blur, t.sd) + " px" + w;
}
// Where the scene at a place of frame `a` lies in frame `b`, px: by the registration of their group, else the same
// share of the picture.
/** @type {(a: Frame, b: Frame, x: number, y: number) => Place} */
function across(a, b, x, y) {
  if (a.group === null || a.group !== b.group || !a.laid || !b.laid) return { x: x / a.w * b.w, y: y / a.h * b.h };
  const turn = (/** @type {number[]} */ [, , scale, degrees], /** @type {number} */ dx, /** @type {number} */ dy) => {
    const c = scale * Math.cos(degrees * Math.PI / 180), s = scale * Math.sin(degrees * Math.PI / 180);
    return [c * dx - s * dy, s * dx + c * dy];
  };
  const [dx, dy] = turn([0, 0, 1 / a.laid[2], -a.laid[3]], x - a.w / 2 - a.laid[0], y - a.h / 2 - a.laid[1]);
  const [ex, ey] = turn(b.laid, dx, dy);
  return { x: b.w / 2 + b.laid[0] + ex, y: b.h / 2 + b.laid[1] + ey };
}
// The spot of the compared frame that shows what a spot of this one shows, and how far off it is, share of the frame.
/** @type {(f: Frame, o: Frame, spot: any) => any} */
function counterpart(f, o, spot) {
  const there = across(f, o, spot.x + spot.w / 2, spot.y + spot.h / 2);
  if (o.tiled || o.full) return { ...spot, x: there.x - spot.w / 2, y: there.y - spot.h / 2, at: null, tile: null, apart: 0 };
  const own = spotsOf(o).find((s) => s.slug === spot.slug) || nearestPatch(o, there.x, there.y);
  return own && { ...own, apart: Math.hypot(own.x + own.w / 2 - there.x, own.y + own.h / 2 - there.y) / o.w };
}
/** @type {(f: Frame, spot: any) => any} */
function figureOf(f, spot) {
  const o = other === null ? null : shoot[other], both = o !== null && el("both").checked;
  const figure = make("figure", null, { class: both ? "pair" : "", "data-place": spot.slug }), caption = make("figcaption");
  const there = o && counterpart(f, o, spot);
  const far = there && there.apart > 0.02 ? " (" + Math.round(100 * there.apart) + " % of the frame away)" : "";
  if (!swapped || !o || both) {
    figure.append(pane(f, spot));
    caption.append(make("strong", spot.name), make("span", " " + numbers(f, spot)));
  }
  if (o && (swapped || both)) {
    figure.append(there ? pane(o, there) : make("p", "No picture of this place.", { class: "crop none" }));
    if (!both) caption.append(make("strong", spot.name));
    caption.append(make("span", (both ? " | " : " in ") + o.name + ": " + (there ? numbers(o, there) : "") + far));
  }
  figure.append(caption);
  return figure;
}
// The four windows, or the one that the eye is on, and the other places below the fold.
function windows() {
  const f = frame(), spots = spotsOf(f), room = el("windows");
  if (place) spots.push(spotAt(f, place));
  const found = (/** @type {string} */ slug) => spots.find((s) => s.slug === slug);
  const wanted = eye && (found(eye) || eye === "far") ? [eye] : FIRST;
  room.classList.toggle("one", wanted.length === 1);
  room.classList.toggle("paired", other !== null && el("both").checked);
  room.replaceChildren(...wanted.map((slug) => {
    const spot = found(slug);
    if (spot) return figureOf(f, spot);
    const figure = make("figure", null, { "data-place": slug });
    figure.append(make("p", f.crops.length ? "Nothing shows at the far end of this frame." : "This report was written without pictures.", { class: "crop none" }), make("figcaption", PLACES[slug]));
    return figure;
  }));
  const more = spots.filter((s) => !wanted.includes(s.slug));
  el("crops").replaceChildren(...more.map((s) => figureOf(f, s)));
  el("more-places").hidden = more.length === 0;
  for (const view of all("#windows .crop, #crops .crop")) if (view.whole) view.whole();
  for (const button of all("[data-eye]")) {
    button.setAttribute("aria-pressed", String((wanted.length === 1 ? eye : "") === button.dataset.eye));
    button.disabled = button.dataset.eye === "place" ? !place : false;
  }
  for (const button of all("[data-zoom]")) button.setAttribute("aria-pressed", String(+button.dataset.zoom === zoom));
  el("swap").disabled = el("both").disabled = other === null;
  el("swap").setAttribute("aria-pressed", String(swapped && other !== null));
  room.classList.toggle("swapped", swapped && other !== null);
}
/** @type {(to: string) => void} */
function lookAt(to) { eye = eye === to ? "" : to; windows(); over(); }
/** @type {(to: number) => void} */
function scale(to) { zoom = to; windows(); }
/** @type {(i: number | null) => void} */
function compareWith(i) {
  other = i;
  if (i === null) swapped = false;
  el("beside").value = i === null ? "" : String(i);
  if (i === null) windows(); else withFrame(i, windows);
}
// To and fro: where nothing was chosen yet, the best of the scene, else another frame of it, else the one before.
function swap() {
  if (other === null) {
    const group = frame().group === null ? [] : audit.groups[frame().group].filter((/** @type {number} */ i) => i !== now);
    const first = group.find((/** @type {number} */ i) => shoot[i].proposed && shoot[i].proposed[0]) ?? group[0] ?? (now > 0 ? now - 1 : shoot.length > 1 ? 1 : null);
    if (first === null) return;
    swapped = true;
    compareWith(first);
  } else { swapped = !swapped; windows(); }
}

// ---- The glass --------------------------------------------------------------------------------------------------

const glass = el("glass");
/** @type {{f: Frame, p: Place, zoom: number, view: any} | null} */
let under = null;
/** @type {(p: Place, x: number, y: number) => void} */
function magnify(p, x, y) {
  if (!el("magnify").checked) return;
  const f = frame();
  glass.hidden = false;
  // The window under the glass goes along, so that what it shows already stays in sight.
  if (under && under.f === f && under.zoom === zoom && (f.tiled || f.full)) under.view.whole((p.x - under.p.x) * f.w, (p.y - under.p.y) * f.h);
  else {
    const view = pane(f, spotAt(f, p));
    under = { f, p, zoom, view };
    glass.replaceChildren(view);
    if (view.whole) view.whole();
  }
  const w = glass.offsetWidth, h = glass.offsetHeight;
  // Beside the pointer, on the side that has room, so that the place itself stays in sight.
  glass.style.left = clamp(x - w - 24 > 0 ? x - w - 24 : x + 24, 0, Math.max(0, innerWidth - w)) + "px";
  glass.style.top = clamp(y - h / 2, 0, Math.max(0, innerHeight - h)) + "px";
}
const putAway = () => { glass.hidden = true; under = null; glass.replaceChildren(); };

// ---- Moving about -----------------------------------------------------------------------------------------------

// A window with the whole picture behind it is moved by dragging, the compared frame's beside it likewise; where it comes to
// rest is a place of the reader's own choice.
/** @type {(e: any) => void} */
function drag(e) {
  const view = e.target.closest && e.target.closest(".crop.live");
  if (!view || e.button !== 0 || e.pointerType === "touch") return;
  e.preventDefault();
  const views = all(".crop.live", view.parentElement), from = { x: e.clientX, y: e.clientY }, own = views[0];
  /** @type {any} */
  let at = null;
  const move = (/** @type {any} */ m) => {
    const dx = (from.x - m.clientX) / density(), dy = (from.y - m.clientY) / density();
    if (at === null && Math.hypot(dx, dy) < 3) return;
    views.forEach((v) => { const middle = v.whole(dx, dy); if (v === own) at = middle; });
  };
  const end = () => {
    for (const [kind, does] of /** @type {[string, any][]} */ ([["pointermove", move], ["pointerup", end], ["pointercancel", end]])) view.removeEventListener(kind, does);
    if (!at) return;
    const f = frame(), shows = own.of;
    const there = shows === f ? at : across(shows, f, at.x, at.y);
    act("look", { x: clamp(there.x / f.w, 0, 0.99999), y: clamp(there.y / f.h, 0, 0.99999) });
  };
  view.setPointerCapture(e.pointerId);
  for (const [kind, does] of /** @type {[string, any][]} */ ([["pointermove", move], ["pointerup", end], ["pointercancel", end]])) view.addEventListener(kind, does);
}

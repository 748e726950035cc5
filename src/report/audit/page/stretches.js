// @ts-check
// A long list of which only what is about the screen is in the document: stretches of it, with room kept for the others.

/** Up to so many are all laid out, for printing and for the browser's own search. */
const ALL_LAID = 300;
/** @typedef {{node: any, from: number, to: number, near: boolean, full: boolean}} Stretch */
/** @typedef {{size: () => number, high: (n: number) => number, bring: (items: number[], then: () => void) => void, node: (i: number) => any, dropped: () => void}} Ways */

/** @type {(room: any, ways: Ways) => {lay: (order: number[]) => void, again: () => void, reveal: (i: number, then: (node: any) => void) => void}} */
function stretches(room, ways) {
  /** @type {Stretch[]} */
  let list = [];
  /** @type {number[]} */
  let order = [];
  let size = 0, measured = 0;
  const seen = new IntersectionObserver((changes) => {
    for (const change of changes) {
      const s = list.find((s) => s.node === change.target);
      if (!s) continue;
      s.near = change.isIntersecting;
      if (s.near) fill(s); else empty(s);
    }
  }, { rootMargin: "100% 0px" });
  const windowed = () => order.length > ALL_LAID;
  /** @type {(s: Stretch, then?: () => void) => void} */
  function fill(s, then) {
    if (s.full) { if (then) then(); return; }
    const items = order.slice(s.from, s.to);
    ways.bring(items, () => {
      if (!s.full && s.node.isConnected && (s.near || then || !windowed())) {
        s.full = true;
        s.node.replaceChildren(...items.map(ways.node));
        s.node.style.height = "";
        if (windowed()) {
          // How far along a list is that is not all there.
          items.forEach((i, k) => { ways.node(i).setAttribute("aria-setsize", order.length); ways.node(i).setAttribute("aria-posinset", s.from + k + 1); });
          measure(s);
        }
      }
      if (then && s.full) then();
    });
  }
  // The first full stretch tells how high the others will be.
  /** @type {(s: Stretch) => void} */
  function measure(s) {
    if (measured || s.to - s.from < size) return;
    measured = s.node.offsetHeight;
    for (const other of list) if (!other.full) other.node.style.height = high(other) + "px";
  }
  /** @type {(s: Stretch) => number} */
  const high = (s) => measured && s.to - s.from === size ? measured : ways.high(s.to - s.from);
  /** @type {(s: Stretch) => void} */
  function empty(s) {
    if (!s.full || !windowed() || s.node.contains(document.activeElement)) return;
    s.node.style.height = s.node.offsetHeight + "px";
    s.node.replaceChildren();
    s.full = false;
    ways.dropped();
  }
  /** @type {(wanted: number[]) => void} */
  function lay(wanted) {
    seen.disconnect();
    order = wanted;
    size = windowed() ? ways.size() : Math.max(1, order.length);
    measured = 0;
    list = [];
    for (let from = 0; from < order.length; from += size) {
      const to = Math.min(order.length, from + size);
      list.push({ node: make("ol", null, { class: "entries" }), from, to, near: false, full: false });
    }
    room.replaceChildren(...list.map((s) => s.node));
    if (!windowed()) { list.forEach((s) => fill(s)); return; }
    for (const s of list) { s.node.style.height = high(s) + "px"; seen.observe(s.node); }
    // What the eye falls on first does not wait.
    list[0].near = true;
    fill(list[0]);
  }
  addEventListener("resize", () => { if (windowed() && ways.size() !== size) lay(order); });
  return {
    lay,
    again: () => { if (list.length) lay(order); },
    reveal: (i, then) => {
      const at = order.indexOf(i), s = list.find((s) => s.from <= at && at < s.to);
      if (!s) return;
      if (!s.full) s.node.scrollIntoView({ block: "nearest" });
      fill(s, () => then(ways.node(i)));
    },
  };
}

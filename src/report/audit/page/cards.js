// @ts-check
// The card of each frame: in the page where there are few, else in parts beside it, which are asked for as they come into sight.

const list = el("entries");
/** @type {Map<number, any>} cards at hand, by frame */
const cards = new Map();
/** @type {Map<number, string[]>} the words of parts at hand, the one asked for last behind the others */
const words = new Map();
const KEPT_PARTS = 120;
/** @type {Map<number, (() => void)[]>} */
const asked = new Map();
/** @type {(i: number) => number} */
const partOf = (i) => Math.floor(i / audit.parts.size);

/** @type {any} */ (globalThis).tussockCards = (/** @type {number} */ part, /** @type {any[]} */ records, /** @type {string[]} */ made) => {
  records.forEach((record, k) => fillIn(shoot[part * audit.parts.size + k], record));
  words.set(part, made);
  for (const [old] of words) {
    if (words.size <= KEPT_PARTS) break;
    // What is on the desk stays.
    if ([now, other].some((i) => i !== null && partOf(i) === old)) continue;
    words.delete(old);
    for (let k = 0; k < audit.parts.size; k++) if (shoot[old * audit.parts.size + k]) bare(shoot[old * audit.parts.size + k]);
  }
};
/** @type {(part: number) => string} */
const numbered = (part) => String(part + 1).padStart(4, "0") + ".js";
/** @type {(items: number[], then: () => void) => void} */
function withCards(items, then) {
  const parts = new Set(items.filter((i) => !cards.has(i) || shoot[i].crops === undefined).map(audit.parts ? partOf : () => -1));
  let missing = parts.size;
  if (!audit.parts || missing === 0) return then();
  const one = () => { missing -= 1; if (missing === 0) then(); };
  for (const part of parts) {
    const made = words.get(part), waiting = asked.get(part);
    if (made) { words.delete(part); words.set(part, made); one(); } else if (waiting) waiting.push(one);
    else {
      asked.set(part, [one]);
      load("pictures/cards-" + numbered(part), () => {
        const told = asked.get(part) || [];
        asked.delete(part);
        told.forEach((tell) => tell());
      });
    }
  }
}
// A card whose part was left behind has its name and no more.
/** @type {(i: number) => string} */
const plainCard = (i) => '<li class="entry" id="frame-' + (i + 1) + '"><article><div class="plate"></div><div class="words"><h3></h3><p class="verdict"></p><p class="detail"></p><p class="open"></p></div><div class="numbers"></div></article></li>';
/** @type {(i: number) => any} */
function card(i) {
  const known = cards.get(i);
  if (known) return known;
  const made = audit.parts && words.get(partOf(i)), holder = document.createElement("template");
  // Written by the report with every name escaped; its policy lets no handler in it run.
  holder.innerHTML = made ? made[i % audit.parts.size] : plainCard(i);
  const entry = holder.content.firstElementChild;
  if (!made) {
    entry.querySelector("h3").textContent = shoot[i].name;
    entry.querySelector(".detail").textContent = "The folder of pictures is not beside this page.";
  }
  dress(i, entry);
  return entry;
}
// What the script adds to a card.
/** @type {(i: number, entry: any) => void} */
function dress(i, entry) {
  cards.set(i, entry);
  shoot[i].said = entry.querySelector(".verdict").textContent;
  const room = entry.querySelector(".open"), look = () => { location.hash = "look-" + (i + 1); };
  const named = (/** @type {any} */ button) => { button.append(make("span", " " + shoot[i].name, { class: "unseen" })); room.append(button); return button; };
  named(make("button", "Look closely", { type: "button" })).addEventListener("click", look);
  named(make("button", "Keep", { type: "button", "data-mark": "keep", "aria-pressed": "false" })).addEventListener("click", () => toggle(i, true));
  named(make("button", "Leave out", { type: "button", "data-mark": "out", "aria-pressed": "false" })).addEventListener("click", () => toggle(i, false));
  room.append(make("span", null, { class: "marked" }));
  const plate = entry.querySelector(".plate");
  plate.classList.add("live");
  plate.setAttribute("tabindex", "-1");
  plate.addEventListener("click", look);
  showMarkOf(i, entry);
  if (otherUse()) judgeEntry(shoot[i], entry);
}
// Cards that are out of sight are made again from their words.
function dropCards() {
  if (!audit.parts) return;
  for (const [i, entry] of cards) if (!entry.isConnected && i !== now) cards.delete(i);
}
const laidCards = stretches(list, {
  size: () => (list.classList.contains("sheet") ? 8 * Math.max(1, Math.floor((list.clientWidth + 9.6) / columnWide())) : 20),
  high: (n) => (list.classList.contains("sheet") ? Math.ceil(n / Math.max(1, Math.floor((list.clientWidth + 9.6) / columnWide()))) * 170 : n * 272),
  bring: withCards,
  node: card,
  dropped: dropCards,
});
// Width of a column of the sheet with its gap, as the style has it, px.
const columnWide = () => 16 * ((innerWidth > 704 ? 8.4 : 6.6) + 0.6);

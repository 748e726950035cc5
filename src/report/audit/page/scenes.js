// @ts-check
// Scenes taken more than once: in the page where there are few, else in parts beside it.

const sceneRoom = el("scene-list");
/** @type {Map<number, string[]>} */
const sceneWords = new Map();
/** @type {any} */ (globalThis).tussockScenes = (/** @type {number} */ part, /** @type {string[]} */ made) => { keepLast(sceneWords, part, made, 40, () => {}); };
/** @type {(k: number) => any} */
function scene(k) {
  const made = sceneWords.get(partOf(k)), holder = document.createElement("template");
  holder.innerHTML = made && made[k % audit.parts.size] || '<li class="scene"></li>';
  return holder.content.firstElementChild;
}
if (sceneRoom && audit.parts && audit.groups.length > audit.parts.scenes) {
  stretches(sceneRoom, {
    size: () => 10,
    high: (n) => n * 260,
    bring: (items, then) => {
      const parts = [...new Set(items.map(partOf))].filter((part) => !sceneWords.has(part));
      let missing = parts.length;
      if (!missing) return then();
      for (const part of parts) load("pictures/scenes-" + numbered(part), () => { missing -= 1; if (!missing) then(); });
    },
    node: scene,
    dropped: () => {},
  }).lay(audit.groups.map((/** @type {any} */ _, /** @type {number} */ k) => k));
}

// Replays what a test wrote through the page's own functions: node replay.mjs FOLDER
//
// FOLDER holds the page and what it must say (`cargo test --test report` writes both to target/tmp/replay). The page's
// functions are run as they stand in src/report/audit/page, against a stand-in for the document; nothing of them is repeated here.
import { readFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const [folder] = process.argv.slice(2);
if (!folder) {
  console.error("usage: node replay.mjs FOLDER");
  process.exit(2);
}
const html = readFileSync(join(folder, "index.html"), "utf8");
const expected = JSON.parse(readFileSync(join(folder, "expected.json"), "utf8"));
const parts = join(dirname(fileURLToPath(import.meta.url)), "../../src/report/audit/page");
const sources = ["base.js", "judge.js"].map((name) => readFileSync(join(parts, name), "utf8"));

let passed = 0;
const faults = [];
function check(ok, say) {
  if (ok) passed += 1;
  else faults.push(say());
}
const near = (a, b, share, floor) => a === b || (a !== null && b !== null && Math.abs(a - b) <= share * Math.abs(b) + floor);

for (const source of sources) check(html.includes(source), () => "the page holds another script than the one replayed");
const data = /<script[^>]*id="?audit"?[^>]*>([\s\S]*?)<\/script>/.exec(html)?.[1];
if (!data) throw new Error("the page holds no data");

// What the two parts ask of the document: the data, the use chosen, and text of nodes that is only handed on.
const values = { use: "", "print-w": "60", "print-h": "40", "print-d": "50" };
const node = (id) => ({ value: values[id] ?? "", textContent: id === "audit" ? data : "", querySelector: () => ({ textContent: "" }) });
const document = { getElementById: node, currentScript: { nonce: "" }, querySelectorAll: () => [] };
const page = new Function("document", `"use strict";\n${sources.join("\n")}\nreturn { audit, shoot, above, word, permitted, zoneWord, throughout, tilesOf, tileAt, box };`)(document);

check(page.shoot.length === expected.frames.length, () => "frames are missing");
for (const [value, sd, limit, finest, above, word] of expected.grid) {
  const said = page.word({ finest }, value, sd, limit);
  check(said === word, () => `${value} +- ${sd} against ${limit}: ${said}, not ${word}`);
  check(Math.abs(page.above(value, sd, limit) - above) < 5e-7, () => `${value} +- ${sd} above ${limit}: not ${above}`);
}
const STANDINGS = ["Ground", "Far", "Nearer", "Farther", "SoftContent", "Unmeasured"];
expected.frames.forEach((want, i) => {
  const f = page.shoot[i];
  check(f.file === want.file, () => `${f.file} stands for ${want.file}`);
  values.use = "";
  check(near(page.permitted(f), want.audited, 1e-3, 0), () => `${want.file}: permitted ${page.permitted(f)}, not ${want.audited}`);
  for (const use of want.uses) {
    values.use = use.use;
    const of = (what, said, wanted) => `${want.file} for ${use.use}: ${what} ${said}, not ${wanted}`;
    check(near(page.permitted(f), use.permitted, 1e-4, 0), () => of("permitted", page.permitted(f), use.permitted));
    use.words.forEach((word, zone) => check(page.zoneWord(f, zone) === word, () => of(`zone ${zone}`, page.zoneWord(f, zone), word)));
    check(page.throughout(f) === use.throughout, () => of("throughout", page.throughout(f), use.throughout));
  }
  values.use = "";
  const tiles = page.tilesOf(f);
  check(tiles.length === want.tiles.length, () => `${want.file}: ${tiles.length} tiles`);
  want.tiles.forEach((tile, k) => {
    const t = tiles[k], b = page.box(f, k), of = (what) => `${want.file}, tile ${k}: ${what}`;
    // Widths come in thousandths, their errors and parts in steps of 4 and 2.5 %.
    check(near(t.blur, tile.blur, 5e-4, 1.1e-3), () => of(`blur ${t.blur}, not ${tile.blur}`));
    check(tile.sd === null || near(t.sd, tile.sd, 0.025, 2e-3), () => of(`sd ${t.sd}, not ${tile.sd}`));
    check(near(t.diffraction, tile.diffraction, 0.02, 0.02), () => of(`diffraction ${t.diffraction}, not ${tile.diffraction}`));
    check(STANDINGS[t.standing] === tile.standing, () => of(`standing ${STANDINGS[t.standing]}, not ${tile.standing}`));
    check(t.zones === tile.zones.reduce((mask, z) => mask | 1 << z, 0), () => of("zones differ"));
    check([b.x, b.y, b.w, b.h].join() === tile.box.join(), () => of("box differs"));
    const middle = { x: (b.x + b.w / 2) / f.w, y: (b.y + b.h / 2) / f.h };
    check(page.tileAt(f, middle) === k, () => of("its middle lies elsewhere"));
  });
});
faults.slice(0, 20).forEach((fault) => console.log(`FAIL ${fault}`));
console.log(`${passed} replayed as expected, ${faults.length} not`);
process.exit(faults.length ? 1 : 0);

// Looks at the pages beside the report in headless Chromium: node sheets.mjs FOLDER
//
// FOLDER holds card.html, plan.html, lens.html and series/index.html. CHROMIUM names the browser, /usr/bin/chromium by
// default. Prints one line a check and a closing count.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const folder = resolve(process.argv[2] ?? ".");
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
let passed = 0;
let failed = 0;
function check(name, ok, note = "") {
  if (ok) passed += 1;
  else failed += 1;
  console.log(`${ok ? "ok  " : "FAIL"} ${name}${note === "" ? "" : `: ${note}`}`);
}

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--in-process-gpu", "--disable-quic", "--disable-background-networking"],
});
// The sizes of a PDF's pages, mm.
const sheets = (pdf) =>
  [...pdf.toString("latin1").matchAll(/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]/g)].map((m) => [m[1], m[2]].map((v) => Math.round((v * 25.4) / 72)).join(" x "));

for (const name of ["card.html", "plan.html", "lens.html", "series/index.html"]) {
  for (const [width, colorScheme] of [[1280, "light"], [360, "dark"], [360, "light"]]) {
    // The pages run no script of their own, and their policy lets none in; the checker's must.
    const context = await browser.newContext({ viewport: { width, height: 800 }, colorScheme, bypassCSP: true });
    const page = await context.newPage();
    const heard = [];
    page.on("console", (m) => { if (["error", "warning"].includes(m.type())) heard.push(m.text()); });
    page.on("request", (r) => { if (!/^(file|data):/.test(r.url())) heard.push(r.url()); });
    await page.goto(pathToFileURL(join(folder, name)).href);
    await page.evaluate(axe);
    const found = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
    const grave = found.violations.filter((v) => ["serious", "critical"].includes(v.impact)).map((v) => `${v.id}: ${v.nodes[0].target}`);
    const where = `${name} at ${width} px, ${colorScheme}`;
    check(`no serious accessibility finding, ${where}`, grave.length === 0, grave.join("; "));
    const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    check(`no sideways scrolling, ${where}`, over <= 0, String(over));
    check(`no complaint and no request out, ${where}`, heard.length === 0, heard.slice(0, 2).join(" | "));
    if (width === 1280 && name === "card.html") {
      const printed = sheets(await page.pdf({ preferCSSPageSize: true }));
      check("the field card is one sheet of A5", printed.join() === "210 x 148", printed.join(", "));
    }
    if (width === 1280 && name === "plan.html") {
      const printed = sheets(await page.pdf({ preferCSSPageSize: true }));
      check("a plan is one sheet of A4", printed.join() === "210 x 297", printed.join(", "));
    }
    await context.close();
  }
}
await browser.close();
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);

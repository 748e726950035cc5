// Takes the README's picture of a report: node picture.mjs REPORT_DIR OUT.png [FRAME]
// FRAME is part of a file's name; its large view is shown. CHROMIUM names the browser.
import { resolve, join } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const [dir, out, wanted = ""] = process.argv.slice(2);
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--in-process-gpu", "--disable-quic", "--disable-background-networking"],
});
const page = await browser.newPage({ viewport: { width: 1280, height: 800 }, colorScheme: "light" });
await page.goto(pathToFileURL(join(resolve(dir), "index.html")).href);
await page.waitForSelector("html[data-ready=yes]");
await page.evaluate((name) => {
  const files = JSON.parse(document.getElementById("audit").textContent).all.file;
  location.hash = `look-${Math.max(0, files.findIndex((f) => f.includes(name))) + 1}`;
}, wanted);
await page.waitForSelector("dialog[open]");
await page.evaluate(() => Promise.all([...document.querySelectorAll("dialog img[src]")].map((i) => { i.loading = "eager"; return i.decode().catch(() => {}); })));
await page.screenshot({ path: out });
await browser.close();

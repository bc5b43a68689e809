// Does with the page what a person would, and prints what they found as JSON.
// Arguments: the agent's address, the array to look at, where screenshots go.
import { readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { launch, openPage } from "./browser.mjs";

const [address, array, folder] = process.argv.slice(2);
const axe = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const browser = await launch();

const VIEWS = [
  ["overview-light", "/", 1280, "light"],
  ["overview-dark", "/", 1280, "dark"],
  ["overview-narrow", "/", 380, "light"],
  ["array-light", `/array/${array}?period=year`, 1280, "light"],
  ["array-dark", `/array/${array}?period=month`, 1280, "dark"],
  ["array-narrow", `/array/${array}?period=week`, 380, "dark"],
];

// Finds the slow array, opens its members, reads why, changes the period.
async function look() {
  const { context, page, requests, complaints } = await openPage(browser);
  await page.goto(address, { waitUntil: "load" });
  const summary = await page.locator("#summary").innerText();
  const first = page.locator("article").first();
  const name = await first.locator("h2").innerText();
  const why = await first.locator(".sentence").innerText();
  await first.getByText(`Members of ${name} in figures`).click();
  const odd = await first.locator("tr.odd").allInnerTexts();
  await first.locator("h2 a").click();
  await page.waitForURL(/\/array\//);
  const heading = await page.locator("h1").innerText();
  const before = await page.locator("#past h2").innerText();
  await page.locator(".periods a", { hasText: "year" }).click();
  await page.waitForURL(/period=year/);
  const after = await page.locator("#past h2").innerText();
  const pictures = await page.locator("main svg[role=img]").count();
  const unnamed = await page.locator("main svg:not([role=img], svg svg)").count();
  await page.getByText("Live: this page follows the agent.").waitFor();
  await context.close();
  return { summary, name, why, odd, heading, before, after, pictures, unnamed, requests, complaints };
}

// With the keyboard alone: the skip link, then on to the first array's own page.
async function type() {
  const { context, page } = await openPage(browser);
  await page.goto(address, { waitUntil: "load" });
  await page.keyboard.press("Tab");
  const skip = await page.evaluate(() => document.activeElement.textContent);
  const seen = await page.evaluate(() => document.activeElement.getBoundingClientRect().left >= 0);
  await page.keyboard.press("Enter");
  await page.keyboard.press("Tab");
  const outline = await page.evaluate(() => getComputedStyle(document.activeElement).outlineStyle);
  await page.keyboard.press("Enter");
  await page.waitForURL(/\/array\//);
  const reached = await page.locator("h1").innerText();
  await context.close();
  return { skip, seen, outline, reached };
}

// What is opened stays open, and what has the focus keeps it, while the page follows the agent.
async function follow() {
  const { context, page } = await openPage(browser);
  await page.goto(address, { waitUntil: "load" });
  const when = () => page.locator("#head time").getAttribute("datetime");
  const summary = page.locator("article summary").first();
  const focused = await summary.innerText();
  await summary.focus();
  await page.keyboard.press("Enter");
  const before = await when();
  let after = before;
  for (let tries = 0; tries < 300 && after === before; tries += 1) {
    await page.waitForTimeout(200);
    after = await when();
  }
  const open = await page.locator("article details").first().getAttribute("open");
  const still = await page.evaluate(() => document.activeElement.textContent);
  await context.close();
  return { before, after, open: open !== null, focused, still };
}

// Every view: what it weighs, when it is first seen, whether it fits, what axe says of it.
async function view([name, path, width, colorScheme]) {
  const settings = { viewport: { width, height: 900 }, colorScheme };
  const { context, page, complaints } = await openPage(browser, { ...settings, bypassCSP: true });
  await page.goto(address + path, { waitUntil: "load" });
  await page.waitForFunction(
    () => performance.getEntriesByName("first-contentful-paint").length > 0,
  );
  const figures = await page.evaluate(() => {
    const [navigation] = performance.getEntriesByType("navigation");
    const loaded = performance.getEntriesByType("resource");
    const bodies = [navigation, ...loaded].map((each) => each.decodedBodySize);
    return {
      paint: performance.getEntriesByName("first-contentful-paint")[0].startTime,
      answered: navigation.responseEnd - navigation.requestStart,
      bytes: bodies.reduce((sum, each) => sum + each, 0),
      wide: document.documentElement.scrollWidth,
    };
  });
  await page.screenshot({ path: `${folder}/${name}.png`, fullPage: true });
  await page.evaluate(axe);
  const result = await page.evaluate(() => window.axe.run(document));
  const violations = result.violations.map((each) => ({
    id: each.id,
    impact: each.impact,
    nodes: each.nodes.slice(0, 3).map((node) => node.html),
  }));
  await context.close();
  return { name, width, ...figures, violations, complaints };
}

// Without script, on paper, and with forced colours all that matters is there.
async function otherwise() {
  const { context, page } = await openPage(browser, { javaScriptEnabled: false });
  await page.goto(`${address}/array/${array}?period=month`, { waitUntil: "load" });
  const heading = await page.locator("h1").innerText();
  const pictures = await page.locator("main svg[role=img]").count();
  await page.emulateMedia({ media: "print" });
  await page.pdf({ path: `${folder}/array-print.pdf`, format: "A4" });
  const nav = await page.locator(".periods").isVisible();
  await page.emulateMedia({ media: "screen", forcedColors: "active" });
  await page.screenshot({ path: `${folder}/array-forced-colours.png`, fullPage: true });
  await context.close();
  return { heading, pictures, nav };
}

const found = { look: await look(), type: await type(), follow: await follow(), views: [] };
for (const each of VIEWS) found.views.push(await view(each));
found.otherwise = await otherwise();
await browser.close();
console.log(JSON.stringify(found));

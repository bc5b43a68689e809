// Meets a page whose every name means harm, and prints what became of it as JSON.
// Arguments: the address, where screenshots go.
import { readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { launch, openPage } from "./browser.mjs";

const [address, folder] = process.argv.slice(2);
const axe = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const browser = await launch();

// The policy is in force here: what got in would not run, so whether it got in is looked at too.
async function meet(width, colorScheme) {
  const { context, page, requests, complaints } = await openPage(browser, {
    viewport: { width, height: 900 },
    colorScheme,
  });
  const dialogs = [];
  page.on("dialog", (dialog) => dialogs.push(dialog.message()) && dialog.dismiss());
  const views = [];
  const look = async (name) => {
    views.push(
      await page.evaluate(() => ({
        wide: document.documentElement.scrollWidth - innerWidth,
        heading: document.querySelector("h1").innerText,
        strangers: [...document.querySelectorAll("img, b, main script, iframe, [onerror]")].length,
        scripts: document.scripts.length,
        literal: document.body.innerText.includes("<script>alert(1)</script>"),
        hidden: [...document.querySelectorAll("main h2, main .sentence")].filter(
          (each) => each.getBoundingClientRect().right > innerWidth + 1,
        ).length,
      })),
    );
    await page.screenshot({ path: `${folder}/hostile-${name}-${width}.png` });
  };
  await page.goto(address, { waitUntil: "load" });
  await look("overview");
  await page.locator("article summary").first().click();
  await page.locator("article h2 a").first().click();
  await page.waitForURL(/\/array\//);
  await look("array");
  await page.locator(".periods a", { hasText: "year" }).click();
  await page.waitForURL(/period=year/);
  await look("year");
  await context.close();
  return { width, views, dialogs, requests, complaints };
}

async function check(path) {
  const { context, page } = await openPage(browser, { bypassCSP: true });
  await page.goto(address + path, { waitUntil: "load" });
  await page.evaluate(axe);
  const result = await page.evaluate(() => window.axe.run(document));
  await context.close();
  return result.violations.map((each) => [each.id, each.impact, each.nodes[0].html]);
}

const met = [await meet(1280, "light"), await meet(380, "dark")];
const violations = await check("/");
await browser.close();
console.log(JSON.stringify({ met, violations }));

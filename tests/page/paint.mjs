// How soon a page is first seen, in milliseconds: each path in turn, so many times, each time in
// a new context that keeps nothing. By path. Arguments: the agent's address, times, paths.
import { launch, openPage } from "./browser.mjs";

const [address, times, ...paths] = process.argv.slice(2);
const browser = await launch();
const warm = await openPage(browser);
await warm.page.goto("data:text/html,<p>The browser itself has started.");
const paints = Object.fromEntries(paths.map((path) => [path, []]));
for (let time = 0; time < Number(times); time += 1) {
  for (const path of paths) {
    const { context, page } = await openPage(browser, { bypassCSP: true });
    await page.goto(address + path, { waitUntil: "load" });
    const paint = () => performance.getEntriesByName("first-contentful-paint")[0]?.startTime;
    await page.waitForFunction(paint);
    paints[path].push(await page.evaluate(paint));
    await context.close();
  }
}
await browser.close();
console.log(JSON.stringify(paints));

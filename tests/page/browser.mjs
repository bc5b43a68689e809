// Debian's Chromium, asking nothing of anybody but the agent.
import { chromium } from "playwright-core";

const ARGUMENTS = [
  "--headless",
  "--no-sandbox",
  "--disable-gpu",
  "--disable-quic",
  "--no-first-run",
  "--disable-background-networking",
  "--disable-component-update",
  "--disable-sync",
];

export const launch = () => chromium.launch({ executablePath: "/usr/bin/chromium", args: ARGUMENTS });

// A page that notes every request and every complaint of the browser.
export async function openPage(browser, settings = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...settings });
  const page = await context.newPage();
  const requests = [];
  const complaints = [];
  page.on("request", (request) => requests.push(request.url()));
  page.on("console", (message) => {
    if (["error", "warning"].includes(message.type())) complaints.push(message.text());
  });
  page.on("pageerror", (error) => complaints.push(error.message));
  return { context, page, requests, complaints };
}

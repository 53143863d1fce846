// Opens a report in headless Chromium and says what a person would see: one JSON object on standard output.
// usage: node look.js page.html folder-for-pictures [words to type into the search box]
// With script off for everything but the checks themselves: the page must be whole without any.
import { mkdirSync, mkdtempSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import puppeteer from "puppeteer-core";

const [, , page, shots, wanted] = process.argv;
const chromium = process.env.CHROMIUM || "/usr/bin/chromium";
const axe = createRequire(import.meta.url).resolve("axe-core/axe.min.js");
const home = mkdtempSync(join(tmpdir(), "pullbook-browser-"));
mkdirSync(shots, { recursive: true });

const VIEWS = [
  { name: "phone", width: 360, height: 740, light: "light", touch: true, axe: true },
  { name: "phone-dark", width: 360, height: 740, light: "dark", touch: true },
  { name: "tablet", width: 768, height: 1000, light: "light" },
  { name: "desk", width: 1280, height: 900, light: "light" },
  { name: "desk-dark", width: 1280, height: 900, light: "dark", axe: true },
];

// what of the page can be measured without opinion
function measured() {
  const seen = (e) => e.getClientRects().length > 0;
  const words = [...document.querySelectorAll("svg text")].filter(seen);
  const tall = (t) => {
    const m = t.getScreenCTM();
    return parseFloat(getComputedStyle(t).fontSize) * Math.hypot(m.b, m.d);
  };
  const sizes = words.map((t) => ({ text: t.textContent, px: tall(t) })).sort((a, b) => a.px - b.px);
  const outside = words.filter((t) => {
    const r = t.getBoundingClientRect(), s = t.ownerSVGElement.getBoundingClientRect();
    return r.left < s.left - 1 || r.right > s.right + 1 || r.top < s.top - 1 || r.bottom > s.bottom + 1;
  }).map((t) => t.textContent);
  const wide = [...document.querySelectorAll("body *")].filter((e) => {
    if (!seen(e) || e.closest(".scroll, .skip, svg")) return false;
    return e.getBoundingClientRect().right > document.documentElement.clientWidth + 1;
  }).map((e) => e.tagName + "." + e.className).slice(0, 5);
  return {
    page_width: document.documentElement.scrollWidth,
    window_width: document.documentElement.clientWidth,
    smallest_word: sizes[0] || null,
    smallest_text: Math.min(...[...document.querySelectorAll("p, li, td, th, dd, dt, figcaption, caption, small, summary")]
      .filter(seen).map((e) => parseFloat(getComputedStyle(e).fontSize))),
    outside,
    wide,
    h1: document.querySelectorAll("h1").length,
  };
}

// words of drawings that lie on each other
function overlaps() {
  const found = [];
  for (const svg of document.querySelectorAll("svg")) {
    if (!svg.getClientRects().length) continue;
    const boxes = [...svg.querySelectorAll("text")].map((t) => [t.textContent, t.getBoundingClientRect()]);
    for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
      const [a, r] = boxes[i], [b, s] = boxes[j];
      const w = Math.min(r.right, s.right) - Math.max(r.left, s.left), h = Math.min(r.bottom, s.bottom) - Math.max(r.top, s.top);
      if (w > 2 && h > 0.45 * Math.min(r.height, s.height)) found.push(`${a} / ${b}`);
    }
  }
  return found;
}

const browser = await puppeteer.launch({
  executablePath: chromium, headless: true, userDataDir: home, timeout: 60000,
  args: ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--allow-file-access-from-files"],
});
const told = { views: {}, asked: [] };
try {
  for (const view of VIEWS) {
    const tab = await browser.newPage();
    await tab.setJavaScriptEnabled(false);
    await tab.emulateMediaFeatures([{ name: "prefers-color-scheme", value: view.light }]);
    await tab.setViewport({ width: view.width, height: view.height, isMobile: !!view.touch, hasTouch: !!view.touch });
    tab.on("request", (r) => { if (!/^(file|data):/.test(r.url())) told.asked.push(r.url()); });
    await tab.goto(pathToFileURL(resolve(page)).href, { waitUntil: "load" });
    const sections = await tab.$$('main > section[id^="page-"]');
    if (sections.length) {
      for (const [i, section] of sections.entries()) await section.screenshot({ path: join(shots, `${view.name}-${i + 1}.png`) });
    } else await tab.screenshot({ path: join(shots, `${view.name}.png`), fullPage: true });
    const seen = { ...(await tab.evaluate(measured)), overlaps: await tab.evaluate(overlaps) };
    told.views[view.name] = seen;
    if (!view.axe) {
      await tab.close();
      continue;
    }
    await tab.setJavaScriptEnabled(true);
    await tab.addScriptTag({ path: axe });
    const found = await tab.evaluate(async () => {
      document.querySelectorAll("details").forEach((d) => { d.open = true; });
      return await window.axe.run(document, { resultTypes: ["violations"] });
    });
    seen.violations = found.violations.map((v) => ({ id: v.id, help: v.help, nodes: v.nodes.slice(0, 4).map((n) => n.html.slice(0, 200) + " " + (n.failureSummary || "").slice(0, 200)) }));
    seen.checked = found.passes.length;
    await tab.close();
  }
  const tab = await browser.newPage();
  await tab.goto(pathToFileURL(resolve(page)).href, { waitUntil: "load" });
  await tab.pdf({ path: join(shots, "print.pdf"), format: "A4", preferCSSPageSize: false, printBackground: false });
  // keyboard: everything that can be reached by Tab shows that it is
  await tab.keyboard.press("Tab");
  told.first_stop = await tab.evaluate(() => document.activeElement.className || document.activeElement.tagName);
  if (wanted) {
    await tab.type("#find", wanted);
    told.found = await tab.evaluate(() => [...document.querySelectorAll(".days > li")].filter((d) => d.getClientRects().length).map((d) => d.querySelector("h3").textContent));
    told.said = await tab.evaluate(() => document.querySelector("output").textContent);
  }
} finally {
  await browser.close();
  rmSync(home, { recursive: true, force: true });
}
process.stdout.write(JSON.stringify(told));

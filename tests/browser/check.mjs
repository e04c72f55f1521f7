// Opens pages that `daylight report` wrote in a headless browser, from a file and with the network off, and looks for
// what a reader would stumble over. Run by .ci/run; by hand: `npm ci && node check.mjs PROGRAM`, with pictures into a
// folder: `node check.mjs PROGRAM --pictures DIR`; a last word names one season, to look at that alone. The browser is `chromium`, or what CHROMIUM names.
import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import puppeteer from 'puppeteer-core';
import { seasons } from './seasons.mjs';

const WIDTHS = [360, 768, 1280];
const SCHEMES = ['light', 'dark'];
// paper less the page's margins of 16 mm, in pixels of 1/96 inch
const PAPERS = { A4: [178, 265], Letter: [183.9, 247.4] };
const px = (mm) => (mm * 96) / 25.4;

const here = dirname(fileURLToPath(import.meta.url));
const root = resolve(here, '../..');
const program = resolve(process.argv[2] ?? join(root, 'target/debug/daylight'));
const pictures = process.argv[3] === '--pictures' ? resolve(process.argv[4]) : null;
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core'), 'utf8');
const home = mkdtempSync(join(tmpdir(), 'page-check-'));
const made = seasons(home);
const all = {
  demo: join(root, 'datasets/lowland-search'),
  'one-afternoon': join(root, 'datasets/one-afternoon'),
  'long-names': made.long,
  tags: made.tags,
};
const faults = [];

/** What is wider than the window, or text outside its picture: run inside the page. */
function misfits() {
  const out = [];
  const wide = document.documentElement.scrollWidth;
  if (wide > window.innerWidth) out.push(`the page is ${wide} px wide in a window of ${window.innerWidth}`);
  for (const svg of document.querySelectorAll('svg')) {
    const frame = svg.getBoundingClientRect();
    if (frame.width === 0) continue;
    for (const text of svg.querySelectorAll('text')) {
      const box = text.getBoundingClientRect();
      const over = Math.max(frame.left - box.left, box.right - frame.right, frame.top - box.top, box.bottom - frame.bottom);
      if (over > 1) out.push(`"${text.textContent.trim()}" is cut off by ${over.toFixed(0)} px`);
    }
  }
  return out;
}

async function open(browser, file, faulty) {
  const page = await browser.newPage();
  page.on('console', (message) => faulty(`console: ${message.text()}`));
  page.on('pageerror', (error) => faulty(`script: ${error.message}`));
  page.on('dialog', async (dialog) => {
    faulty(`dialog: ${dialog.message()}`);
    await dialog.dismiss();
  });
  page.on('request', (request) => {
    if (request.url() !== pathToFileURL(file).href) faulty(`request: ${request.url()}`);
  });
  await page.setOfflineMode(true);
  return page;
}

async function look(browser, name, file) {
  const faulty = (what) => faults.push(`${name}: ${what}`);
  for (const width of WIDTHS) {
    for (const scheme of SCHEMES) {
      const page = await open(browser, file, faulty);
      await page.setViewport({ width, height: 900 });
      await page.emulateMediaFeatures([{ name: 'prefers-color-scheme', value: scheme }]);
      await page.goto(pathToFileURL(file).href);
      const at = `${width} px, ${scheme}`;
      (await page.evaluate(misfits)).forEach((what) => faulty(`${at}: ${what}`));
      if (pictures) await page.screenshot({ path: join(pictures, `${name}-${width}-${scheme}.png`), fullPage: true });
      // all of it, not only what is unfolded at first
      await page.evaluate(() => document.querySelectorAll('details').forEach((part) => { part.open = true; }));
      (await page.evaluate(misfits)).forEach((what) => faulty(`${at}, unfolded: ${what}`));
      // the checker takes its time: once narrow and light, once wide and dark
      if ((width === 360 && scheme === 'light') || (width === 1280 && scheme === 'dark')) {
        await page.evaluate(axe);
        const found = await page.evaluate(() => window.axe.run(document, { resultTypes: ['violations'] }));
        for (const v of found.violations.filter((x) => ['serious', 'critical'].includes(x.impact))) {
          faulty(`${at}: ${v.id}: ${v.help} (${v.nodes.length}, the first ${v.nodes[0].html.slice(0, 90)})`);
        }
      }
      await page.close();
    }
  }
  // with scripts off all of it is there
  const plain = await open(browser, file, faulty);
  await plain.setJavaScriptEnabled(false);
  await plain.goto(pathToFileURL(file).href);
  const closed = await plain.$$eval('details:not([open])', (parts) => parts.length);
  if (closed > 0) faulty(`${closed} parts are folded away without a script`);
  await plain.close();
  for (const [paper, [across, down]] of Object.entries(PAPERS)) {
    const page = await open(browser, file, faulty);
    await page.emulateMediaType('print');
    await page.setViewport({ width: Math.floor(px(across)), height: Math.floor(px(down)) });
    await page.goto(pathToFileURL(file).href);
    await page.evaluate(() => document.querySelectorAll('details').forEach((part) => { part.open = true; }));
    const cut = await page.evaluate((most) => {
      const out = [];
      for (const figure of document.querySelectorAll('figure')) {
        const { height, right } = figure.getBoundingClientRect();
        if (height > most) out.push(`a figure is ${height.toFixed(0)} px high on paper of ${most.toFixed(0)}`);
        if (right > window.innerWidth + 1) out.push('a figure is wider than the paper');
        if (getComputedStyle(figure).breakInside !== 'avoid') out.push('a figure may be broken over two sheets');
      }
      for (const table of document.querySelectorAll('table')) {
        const { right } = table.getBoundingClientRect();
        if (right > window.innerWidth + 1) out.push(`a table is wider than the paper: ${table.tHead?.textContent.slice(0, 60)}`);
      }
      return out;
    }, px(down));
    cut.forEach((what) => faulty(`${paper}: ${what}`));
    const pdf = await page.pdf({ format: paper, preferCSSPageSize: false, path: pictures ? join(pictures, `${name}-${paper}.pdf`) : undefined });
    if (pdf.length < 10000) faulty(`${paper}: the print is empty`);
    await page.close();
  }
}

if (pictures) mkdirSync(pictures, { recursive: true });
const browser = await puppeteer.launch({ executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', args: ['--no-sandbox'] });
try {
  for (const [name, season] of Object.entries(all).filter(([n]) => !process.argv[5] || n === process.argv[5])) {
    const file = join(home, `${name}.html`);
    execFileSync(program, ['report', season, '--html', file, '--plots', join(home, `${name}-plots`), '--quiet'], { stdio: ['ignore', 'ignore', 'inherit'] });
    const { size } = statSync(file);
    if (size >= 1e6) faults.push(`${name}: the page is ${size} bytes long`);
    await look(browser, name, file);
    console.log(`${name}: ${(size / 1000).toFixed(0)} kB, looked at`);
  }
} finally {
  await browser.close();
  rmSync(home, { recursive: true, force: true });
}
if (faults.length > 0) {
  const counted = new Map();
  faults.forEach((f) => counted.set(f, (counted.get(f) ?? 0) + 1));
  [...counted].forEach(([f, n]) => console.error(n > 1 ? `${f} (${n} times)` : f));
  process.exit(1);
}
console.log('no message, no request, nothing cut off, no serious finding');

// SPDX-License-Identifier: MIT
// A headless Chromium without a network, and pages that fail on any message, error or request.
import { execFileSync } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';

const require = createRequire(import.meta.url);

/// Ends with code 77 where the test cannot run here.
export function skip(reason) {
  console.log(`skipped: ${reason}`);
  process.exit(77);
}

let chromium, axeSource;
try {
  ({ chromium } = await import('playwright-core'));
  axeSource = fs.readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
} catch (error) {
  skip(`${error.message}; run 'npm ci' in tests/browser`);
}
const executable = [process.env.CATCHFIELD_CHROMIUM, '/usr/bin/chromium', '/usr/bin/chromium-browser']
  .find((file) => file && fs.existsSync(file));
if (!executable) skip('no chromium');

export const work = fs.mkdtempSync(path.join(os.tmpdir(), 'browser-'));

// ---- what was expected and did not hold
let checks = 0;
const faults = [];
export function expect(holds, words) {
  ++checks;
  if (!holds && faults.push(words) <= 40) console.log(`FAULT: ${words}`);
}
export function equal(found, wanted, words) {
  expect(Object.is(found, wanted), `${words}: found ${JSON.stringify(found)}, wanted ${JSON.stringify(wanted)}`);
}

// ---- the program
const program = path.resolve(process.argv[2]);
export const samples = path.resolve(process.argv[3]);
export function run(...parts) {
  try {
    return execFileSync(program, parts, { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'], cwd: work });
  } catch (error) {
    // 3: done, but fields were left out or partly covered.
    if (error.status === 3) return error.stdout;
    throw new Error(`${parts.join(' ')}\n${error.stderr}`);
  }
}
export function plan(name, ...parts) {
  const folder = path.join(work, name);
  run('plan', path.join(samples, 'job.ini'), '--output', folder, '--quiet', ...parts);
  return folder;
}
export function pages(folder) {
  return fs.readdirSync(path.join(folder, 'report')).filter((file) => file.endsWith('.html')).sort()
    .map((file) => path.join(folder, 'report', file));
}

// ---- the browser
const browser = await chromium.launch({ executablePath: executable, args: ['--no-sandbox'] });
export async function open(file, { width = 1280, script = true } = {}) {
  const context = await browser.newContext({
    viewport: { width, height: 900 }, offline: true, javaScriptEnabled: script,
    hasTouch: width < 600, isMobile: width < 600,
  });
  const page = await context.newPage();
  const name = path.basename(file);
  page.on('console', (message) => expect(false, `${name} says on the console: ${message.text()}`));
  page.on('pageerror', (error) => expect(false, `${name}: ${error.message}`));
  page.on('dialog', (dialog) => { expect(false, `${name} opened a dialog`); dialog.dismiss(); });
  page.on('request', (request) => {
    const url = request.url();
    expect(url === pathToFileURL(file).href || url.startsWith('data:'), `${name} asks for ${url}`);
  });
  await page.goto(pathToFileURL(file).href, { waitUntil: 'load' });
  return page;
}
export const close = (page) => page.context().close();

/// Serious and critical findings of axe-core.
export async function audit(page, words) {
  await page.evaluate(axeSource);
  const found = await page.evaluate(async () => (await globalThis.axe.run(document, {
    resultTypes: ['violations'],
  })).violations.filter((one) => ['serious', 'critical'].includes(one.impact))
    .map((one) => `${one.id} (${one.impact}): ${one.nodes.length} x ${one.nodes[0].html.slice(0, 160)}`));
  for (const one of found) expect(false, `${words}: ${one}`);
  expect(true, words);
}

export async function finish() {
  await browser.close();
  fs.rmSync(work, { recursive: true, force: true });
  console.log(`${checks} checks, ${faults.length} faults`);
  process.exit(faults.length === 0 ? 0 : 1);
}

/// Rows of a CSV file as objects (RFC 4180).
export function csv(file) {
  const text = fs.readFileSync(file, 'utf8');
  const rows = [[]];
  for (let i = 0, cell = '', quoted = false; i < text.length; ++i) {
    const c = text[i];
    if (quoted) {
      if (c !== '"') cell += c;
      else if (text[i + 1] === '"') { cell += '"'; ++i; } else quoted = false;
    } else if (c === '"') quoted = true;
    else if (c === ',' || c === '\n') {
      rows.at(-1).push(cell.replace(/\r$/, ''));
      cell = '';
      if (c === '\n') rows.push([]);
    } else cell += c;
  }
  const head = rows.shift();
  return rows.filter((row) => row.length === head.length)
    .map((row) => Object.fromEntries(head.map((name, i) => [name, row[i]])));
}

// SPDX-License-Identifier: MIT
// Names from data (fields, farm, soils, species, seed product, files) are shown as text on every
// page, whatever they hold: tags, quotes, very long words, text from right to left. No script of
// theirs runs, and the policy of the page would not let one run.
//
// usage: node check_names.mjs CATCHFIELD SAMPLES
import { execFileSync } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';
import { audit, close, expect, finish, open, pages, run, samples, skip, work } from './browser.mjs';

const mean = {
  script: `<script>globalThis.hit=1</script>`,
  close: `</script></title></svg>--><img src=x onerror="globalThis.hit=2">`,
  quotes: `"' onmouseover='globalThis.hit=3' x="`,
  rtl: `\u05e9\u05d3\u05d4 \u05e6\u05e4\u05d5\u05e0\u05d9 \u202e7 \u0627\u0644\u062d\u0642\u0644`,
  long: `Feld${'xyz'.repeat(130)}`,
  formula: `=HYPERLINK("http://example.invalid","a")`,
};

const farm = path.join(work, 'farm');
fs.cpSync(samples, farm, { recursive: true });
const names = [mean.script + mean.close, mean.quotes, mean.rtl, mean.long];
const fields = JSON.parse(fs.readFileSync(path.join(farm, 'fields.geojson'), 'utf8'));
fields.features.forEach((feature, i) => { feature.properties.field = names[i]; });
fs.writeFileSync(path.join(farm, 'fields.geojson'), JSON.stringify(fields));

const soils = path.join(farm, 'soils.geojson');
try {
  execFileSync('ogr2ogr', ['-f', 'GeoJSON', soils, path.join(farm, 'soils.gpkg')], { stdio: 'ignore' });
} catch {
  skip('no ogr2ogr');
}
const map = JSON.parse(fs.readFileSync(soils, 'utf8'));
const soilNames = [mean.script, mean.close, mean.quotes, mean.rtl, mean.long];
map.features.forEach((feature, i) => { feature.properties.muname = soilNames[i % soilNames.length]; });
fs.writeFileSync(soils, JSON.stringify(map));

// A user's species: the built-in rye under another name.
const table = fs.readFileSync(path.join(samples, '../src/cover/data/species.csv'), 'utf8').split('\n');
const rye = table.find((line) => line.startsWith('rye,'));
const quoted = (text) => `"${text.replaceAll('"', '""')}"`;
fs.writeFileSync(path.join(farm, 'species.csv'),
  [table.find((line) => line.startsWith('species_id,')), rye.replace('cereal rye', quoted(mean.script + mean.quotes))].join('\n') + '\n');

const plan = path.join(work, 'plan');
run('plan', path.join(farm, 'job.ini'), '--output', plan, '--quiet', '--soil.map', soils,
  '--cover.catalogue', path.join(farm, 'species.csv'), '--cover.candidates', 'rye,oats',
  '--field.farm', mean.close + mean.quotes, '--output.seed-product', mean.script + mean.formula);

async function harmless(page, words) {
  equalText(await page.evaluate(() => String(globalThis.hit)), 'undefined', `${words}: a script ran`);
  equalText(await page.evaluate(() => String(document.querySelectorAll('main script:not([type="application/json"]), main img, main [onmouseover], main [onerror]').length)), '0', `${words}: elements from names`);
}
function equalText(found, wanted, words) {
  expect(found === wanted, `${words}: ${found}`);
}
/// Text of the page as it is shown.
const shown = (page) => page.evaluate(() => document.body.innerText.replace(/\s+/g, ' '));
/// A name from data as it is kept: what turns the direction of the text around is left out.
const flat = (text) => text.replace(/\u202e/g, ' ').replace(/\s+/g, ' ');

const files = pages(plan);
expect(files.length === 4, `${files.length} pages`);
const seen = new Set();
for (const file of files) {
  for (const width of [1280, 390]) {
    const page = await open(file, { width });
    await page.evaluate(() => document.querySelectorAll('details').forEach((part) => { part.open = true; }));
    for (const radio of await page.$$('input[name=view]')) await radio.check();
    await page.focus('svg.map.main .zone');
    const text = await shown(page);
    const title = await page.title();
    const own = names.find((name) => title.endsWith(flat(name)));
    expect(own !== undefined, `title ${title.slice(0, 80)}`);
    if (own) {
      seen.add(own);
      expect(text.includes(flat(own)), `field ${own.slice(0, 40)} is shown`);
    }
    expect(text.includes(flat(mean.quotes)), 'the farm is shown');
    expect(text.includes(flat(mean.script + mean.quotes)), 'the species is shown');
    expect(text.includes(flat(mean.script + mean.formula)), 'the seed product is shown');
    expect(soilNames.some((name) => text.includes(flat(name))), 'a soil is shown');
    const sides = await page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
    expect(sides[0] <= sides[1], `${sides[0]} px of content at ${sides[1]} px`);
    await harmless(page, path.basename(file).slice(0, 40));
    if (width === 1280) await audit(page, 'names');
    // A name goes into a spreadsheet as text.
    await page.evaluate(() => Object.defineProperty(navigator, 'clipboard', { value: { writeText: (copied) => { globalThis.copied = copied; return Promise.resolve(); } } }));
    for (const button of await page.$$('.tools button')) {
      await button.click();
      const copied = await page.evaluate(() => globalThis.copied);
      expect(!/(^|\t|\n)=/.test(copied), 'a formula was copied');
    }
    await close(page);
  }
}
expect(seen.size === names.length, `${seen.size} of ${names.length} fields`);

const index = await open(path.join(plan, 'report.html'));
const text = await shown(index);
for (const name of names) expect(text.includes(flat(name)), `index shows ${name.slice(0, 40)}`);
await harmless(index, 'index');
await audit(index, 'index');
for (const width of [390]) {
  const phone = await open(path.join(plan, 'report.html'), { width });
  const sides = await phone.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
  expect(sides[0] <= sides[1], `index: ${sides[0]} px of content at ${sides[1]} px`);
  await close(phone);
}
await close(index);

// The policy: a script that got into the page all the same would not run.
{
  const file = path.join(work, 'planted.html');
  const page = fs.readFileSync(path.join(plan, 'report.html'), 'utf8');
  fs.writeFileSync(file, page.replace('<main>', '<main><script>globalThis.hit=4</script><p id="p" onclick="globalThis.hit=5">p</p>'));
  const { chromium } = await import('playwright-core');
  const browser = await chromium.launch({ executablePath: process.env.CATCHFIELD_CHROMIUM ?? '/usr/bin/chromium', args: ['--no-sandbox'] });
  const planted = await browser.newPage();
  await planted.goto(`file://${file}`);
  await planted.click('#p');
  equalText(await planted.evaluate(() => String(globalThis.hit)), 'undefined', 'planted script ran');
  expect(await planted.locator('.tools button').count() > 0, 'the own script runs');
  await browser.close();
}
await finish();

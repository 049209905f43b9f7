// SPDX-License-Identifier: MIT
// Opens the reports of the demo farm in headless Chromium: figures, map, tables, workings, print,
// phone, keyboard, and an audit by axe-core. Other people's software: chromium, playwright-core,
// axe-core.
//
// usage: node check_reports.mjs CATCHFIELD SAMPLES
// Exit code: 0 all holds, 1 something does not, 77 no chromium or no packages (npm ci).
import fs from 'node:fs';
import path from 'node:path';
import { audit, close, csv, equal, expect, finish, open, pages, plan, run, work } from './browser.mjs';
import { disagreement } from './figures.mjs';

const column = {
  'n-rate': 'n_rate_kg_ha', 'seed-rate': 'seed_rate_kg_ha', slope: 'slope_pct',
  'loss-now': 'soil_loss_now_mg_ha', 'loss-cover': 'soil_loss_cover_mg_ha', saved: 'erosion_cut_pct',
  compaction: 'compaction_top_cm',
};

/// Every figure that names its column agrees with zones.csv; so does every line of a nitrogen sum.
async function figuresAgree(page, field, zones, budget, us) {
  const figures = await page.$$eval('[data-csv]', (spans) => spans.map((span) => ({
    column: span.dataset.csv, text: span.textContent.replace(/\s+/g, ' ').trim(),
    zones: span.closest('[data-zone]')?.dataset.zone ?? span.closest('[data-zones]')?.dataset.zones ?? '',
    si: span.closest('[data-si]') !== null,
  })));
  expect(figures.length > 50 * zones.length, `${field}: only ${figures.length} figures name their column`);
  for (const figure of figures) {
    expect(figure.zones !== '', `${field}: ${figure.column} belongs to no zone`);
    for (const number of figure.zones.split(' ')) {
      const zone = zones.find((row) => row.zone === number);
      expect(zone && figure.column in zone, `${field}: no ${figure.column} of zone ${number}`);
      if (!zone) continue;
      const wrong = disagreement(figure.column, zone[figure.column], figure.text, us && !figure.si);
      expect(wrong === '', `${field}, zone ${number}, ${wrong}`);
    }
  }
  const lines = await page.$$eval('tr[data-line]', (rows) => rows.map((row) => ({
    line: row.dataset.line, amount: Number(row.cells[1].textContent),
    zones: row.closest('[data-zones]').dataset.zones.split(' '),
  })));
  for (const zone of zones) {
    const shown = lines.filter((line) => line.zones.includes(zone.zone));
    const wanted = budget.filter((row) => row.zone === zone.zone && row.part !== 'for comparison');
    equal(shown.map((line) => line.line).join(), wanted.map((row) => row.line).join(), `${field}, lines of zone ${zone.zone}`);
    shown.forEach((line, i) => expect(Math.abs(line.amount - Number(wanted[i].amount)) <= 0.0551,
      `${field}, ${line.line}: page ${line.amount}, budget.csv ${wanted[i].amount}`));
  }
}

/// Layers switch, colours and legend with them; mouse and keyboard bring a zone's figures.
async function mapWorks(page, field, zones, us) {
  const ids = await page.$$eval('input[name=view]', (buttons) => buttons.map((button) => button.value));
  for (const id of ['zones', 'cover', ...Object.keys(column)]) expect(ids.includes(id), `${field}: no layer ${id}`);
  const colours = new Map();
  for (const id of ids) {
    await page.check(`input[name=view][value=${id}]`);
    const state = await page.evaluate(() => ({
      fill: [...document.querySelectorAll('svg.map.main .zone')].map((zone) => zone.getAttribute('fill')),
      label: [...document.querySelectorAll('svg.map.main .zone')].map((zone) => zone.getAttribute('aria-label')),
      legend: [...document.querySelectorAll('#legend li')].map((item) => item.textContent),
      title: document.getElementById('legend-title').textContent,
    }));
    colours.set(id, state.fill.join());
    expect(state.legend.length > 0 && state.title !== '', `${field}: ${id} has a legend`);
    state.label.forEach((label, z) => expect(label.startsWith(`Zone ${z + 1}, `), `${field}: ${label}`));
    if (!(id in column)) continue;
    state.label.forEach((label, z) => {
      const text = /: (-?[\d.]+|not known)/.exec(label)?.[1] ?? '';
      const wrong = disagreement(column[id], zones[z][column[id]], text, us);
      expect(wrong === '', `${field}, map, zone ${z + 1}, ${wrong}`);
    });
    // Differences under a twentieth share a colour.
    const values = zones.map((zone) => zone[column[id]]).filter((cell) => cell !== '').map(Number);
    if (values.length === zones.length && Math.max(...values) > 1.06 * Math.min(...values)) {
      expect(new Set(state.fill).size > 1, `${field}: ${id} has one colour for different values`);
    }
  }
  expect(new Set(colours.values()).size > 3, `${field}: layers hardly change the colours`);

  // The keyboard: one stop at the map, arrows from zone to zone.
  await page.focus('svg.map.main .zone');
  const head = () => page.textContent('#facts h3');
  equal(await head(), 'Zone 1', `${field}: focus shows the zone`);
  if (zones.length > 1) {
    await page.keyboard.press('ArrowRight');
    equal(await head(), 'Zone 2', `${field}: an arrow goes on`);
    equal(await page.$$eval('svg.map.main .zone[tabindex="0"]', (list) => list.length), 1, `${field}: one stop of Tab at the map`);
  }
  const last = zones.length;
  await page.dispatchEvent(`svg.map.main .zone[data-zone="${last}"]`, 'mouseenter');
  equal(await head(), `Zone ${last}`, `${field}: pointing shows the zone`);
  const facts = await page.$$eval('#facts dd', (list) => list.map((dd) => [dd.dataset.view, dd.textContent]));
  for (const [id, text] of facts.filter(([id]) => id in column)) {
    const wrong = disagreement(column[id], zones[last - 1][column[id]], text.replace(/ .*/, (rest) => (text.startsWith('not') ? rest : '')), us);
    expect(wrong === '', `${field}, beside the map, ${wrong}`);
  }
  expect(await page.$eval(`tr[data-zone="${last}"]`, (row) => row.classList.contains('on')), `${field}: its row is marked`);
  await page.check('input[name=view][value=zones]');
}

/// Tables sort both ways and come out as tab-separated text.
async function tablesWork(page, field, zones) {
  const table = page.locator('table.cards');
  const area = () => table.locator('tbody tr td:nth-child(2)').allTextContents().then((list) => list.map(Number));
  const head = table.locator('thead th').nth(1);
  if (zones.length > 1) {
    for (const [sort, sign] of [['ascending', 1], ['descending', -1]]) {
      await head.locator('button').click();
      equal(await head.getAttribute('aria-sort'), sort, `${field}: sorted`);
      const values = await area();
      expect(values.every((value, i) => i === 0 || sign * (value - values[i - 1]) >= 0), `${field}: ${sort} ${values}`);
    }
  }
  await page.evaluate(() => Object.defineProperty(navigator, 'clipboard', { value: { writeText: (text) => { globalThis.copied = text; return Promise.resolve(); } } }));
  await page.locator('.table:has(table.cards) .tools button').click();
  const lines = (await page.evaluate(() => globalThis.copied)).trim().split('\r\n').map((line) => line.split('\t'));
  equal(lines.length, zones.length + 1, `${field}: copied lines`);
  expect(lines.every((line) => line.length === lines[0].length), `${field}: copied columns`);
  expect(lines[1][0].startsWith('Zone ') && lines[0][0] === 'Zone', `${field}: copied ${lines[0]} / ${lines[1]}`);
  expect((await page.textContent('.table:has(table.cards) .tools [role=status]')).startsWith('Copied'), `${field}: says so`);
}

/// Each figure of the decisions leads to its working, which opens.
async function workingsOpen(page, field) {
  for (const link of await page.$$eval('table.cards thead a.how', (links) => links.map((a) => a.getAttribute('href')))) {
    await page.click(`table.cards thead a.how[href="${link}"] >> nth=0`);
    await page.waitForFunction((id) => document.querySelector(id).open, link);
    const words = (await page.textContent(link)).length;
    expect(words > 100, `${field}: ${link} says little`);
  }
  const summary = page.locator('#how-rain > summary');
  await summary.focus();
  await page.keyboard.press('Enter');
  expect(await page.$eval('#how-rain', (part) => part.open), `${field}: a working opens by keyboard`);
  await page.click('#open-all');
  equal(await page.$$eval('details:not([open])', (list) => list.length), 0, `${field}: closed workings`);
}

async function charts(page, field, zones, probes) {
  const labels = await page.$$eval('svg.chart', (list) => list.map((svg) => svg.getAttribute('aria-label')));
  for (const words of ['Soil loss by zone', 'Ground cover by half-month', 'Nitrogen budget']) {
    expect(labels.some((label) => label.startsWith(words)), `${field}: no chart ${words}`);
  }
  if (probes) expect(labels.some((label) => label.startsWith('Penetrometer profiles')), `${field}: no profiles`);
  if (zones.length > 1) expect(labels.some((label) => label.startsWith('Indices by number')), `${field}: no zone-count curve`);
  const bad = await page.$$eval('svg [d]', (list) => list.filter((one) => /nan|inf/i.test(one.getAttribute('d'))).length);
  equal(bad, 0, `${field}: paths without a number`);
}

async function printed(page, field, zones) {
  const bytes = await page.pdf({ format: 'A4' });
  const count = (bytes.toString('latin1').match(/\/Type\s*\/Page[^s]/g) ?? []).length;
  expect(bytes.length > 20000, `${field}: PDF of ${bytes.length} bytes`);
  expect(count >= 3 && count <= 8 + 2 * zones.length, `${field}: ${count} printed pages`);
}

for (const units of ['us', 'metric']) {
  const folder = plan(units, '--output.units', units);
  const zones = csv(path.join(folder, 'zones.csv'));
  const budget = csv(path.join(folder, 'budget.csv'));
  for (const file of pages(folder)) {
    const field = path.basename(file, '.html');
    const own = zones.filter((row) => row.field_id === field);
    const sums = budget.filter((row) => row.field_id === field);
    const page = await open(file);
    await figuresAgree(page, `${field} (${units})`, own, sums, units === 'us');
    await mapWorks(page, `${field} (${units})`, own, units === 'us');
    if (units === 'us') {
      await charts(page, field, own, true);
      await audit(page, `${field}, 1280 px`);
      await tablesWork(page, field, own);
      await printed(page, field, own);
      await workingsOpen(page, field);
      // One page with several zones and stops stands for all: the audit of everything takes its time.
      if (field === 'Pond') {
        await page.check('#side-by-side');
        await audit(page, `${field}, all open`);
        await page.emulateMedia({ media: 'print' });
        await audit(page, `${field}, print`);
      }
    }
    await close(page);
  }
  if (units !== 'us') continue;
  for (const file of [...pages(folder), path.join(folder, 'report.html')]) {
    const page = await open(file, { width: 390 });
    const sides = await page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
    expect(sides[0] <= sides[1], `${file}: ${sides[0]} px of content on a phone ${sides[1]} px wide`);
    await audit(page, `${path.basename(file)}, 390 px`);
    await close(page);
  }
  // Without scripts: decisions, first layer and the layers side by side.
  const still = await open(pages(folder)[0], { script: false });
  expect(await still.locator('table.cards').isVisible() && await still.locator('svg.map.main').isVisible(), 'without scripts');
  expect(await still.locator('.many svg.map').count() >= 9, 'layers side by side without scripts');
  await close(still);

  // The page over all fields.
  const index = await open(path.join(folder, 'report.html'));
  await audit(index, 'index');
  equal(await index.locator('table.findable tbody tr').count(), 4, 'fields of the index');
  equal(await index.locator('svg.index a').count(), 4, 'fields on the map');
  await index.fill('#find', 'PON');
  equal(await index.locator('table.findable tbody tr:visible').count(), 1, 'fields found');
  await index.fill('#find', '');
  await index.locator('table.findable thead button').nth(1).click();
  const areas = (await index.locator('table.findable tbody td:nth-child(2)').allTextContents()).map(Number);
  expect(areas.every((area, i) => i === 0 || area >= areas[i - 1]), `index sorted by area: ${areas}`);
  // Sums and means of the index from zones.csv.
  for (const field of new Set(zones.map((row) => row.field_id))) {
    const own = zones.filter((row) => row.field_id === field);
    const sum = (name) => own.reduce((all, row) => all + Number(row[name]) * Number(row.area_ha), 0);
    const area = own.reduce((all, row) => all + Number(row.area_ha), 0);
    const cells = await index.locator('table.findable tbody tr', { hasText: field }).locator('td').allTextContents();
    for (const [name, i] of [['soil_loss_now_mg_ha', 5], ['soil_loss_cover_mg_ha', 6]]) {
      const wrong = disagreement(name, (sum(name) / area).toFixed(3), cells[i], true);
      expect(wrong === '', `index, ${field}, ${wrong}`);
    }
  }
  const links = await index.$$eval('table.findable a', (list) => list.map((a) => a.getAttribute('href')));
  for (const link of links) expect(fs.existsSync(path.join(folder, decodeURIComponent(link))), `${link} is there`);
  await close(index);
}

// Many zones on one field: the size is held, the time is told.
{
  const folder = plan('many', '--zones.count', '30', '--zones.min-area', '0.05 ac');
  const zones = csv(path.join(folder, 'zones.csv'));
  let most = 0;
  for (const file of pages(folder)) {
    const own = zones.filter((row) => row.field_id === path.basename(file, '.html'));
    most = Math.max(most, own.length);
    const bytes = fs.statSync(file).size;
    expect(bytes < 2e6, `${file}: ${bytes} bytes with ${own.length} zones`);
    const page = await open(file);
    const times = await page.evaluate(() => {
      const one = performance.getEntriesByType('navigation')[0];
      return { interactive: Math.round(one.domInteractive), complete: Math.round(one.loadEventEnd) };
    });
    console.log(`${path.basename(file)}: ${own.length} zones, ${bytes} bytes, interactive after ${times.interactive} ms, loaded after ${times.complete} ms`);
    expect(times.complete > 0, 'loaded');
    await page.check('input[name=view][value=slope]');
    await figuresAgree(page, path.basename(file), own, csv(path.join(folder, 'budget.csv')).filter((row) => row.field_id === own[0].field_id), true);
    await close(page);
  }
  expect(most >= 28, `only ${most} zones on a field`);
}

// A trial's page is made of the same parts.
fs.writeFileSync(path.join(work, 'trial.csv'), 'n_rate,yield\n' + [0, 50, 100, 150, 200].flatMap((n) =>
  [0, 1].map((block) => `${n},${(90 + 0.9 * n - 0.0022 * n * n + block).toFixed(1)}`)).join('\n') + '\n');
run('fit', 'trial.csv', '--rate-unit', 'lb/ac', '--yield-unit', 'bu/ac', '--price-n', '0.5 /lb', '--price-crop', '4.3 /bu',
  '--page', 'trial.html', '--output', 'curves.json');
const trial = await open(path.join(work, 'trial.html'));
await audit(trial, 'trial');
expect(await trial.locator('svg.chart').count() === 1, 'the trial has its plot');
await close(trial);
// A plan that uses its curve shows it; a liquid product has a column and a layer of its own.
{
  const folder = plan('response', '--nitrogen.method', 'response', '--nitrogen.response', path.join(work, 'curves.json'),
    '--output.product', 'uan-28', '--nitrogen.split', '0.5,0.5');
  const page = await open(path.join(folder, 'report', 'Ridge.html'));
  expect(await page.locator('svg.chart[aria-label^="Yield response"]').count() >= 1, 'the response curve is shown');
  expect(await page.locator('input[name=view][value=product-rate]').count() === 1, 'the product has a layer');
  expect((await page.locator('table.cards thead').textContent()).includes('gal/ac'), 'the product has a column');
  await figuresAgree(page, 'response', csv(path.join(folder, 'zones.csv')).filter((row) => row.field_id === 'Ridge'),
    csv(path.join(folder, 'budget.csv')).filter((row) => row.field_id === 'Ridge'), true);
  await audit(page, 'response');
  await close(page);
  // The hand-off sheet of an export fits on a page.
  run('export', folder, '--to', 'geojson', '--output', path.join(work, 'export'));
  const sheet = await open(path.join(work, 'export', 'hand-off.html'));
  await audit(sheet, 'hand-off sheet');
  const printed = (await sheet.pdf({ format: 'A4' })).toString('latin1').match(/\/Type\s*\/Page[^s]/g) ?? [];
  equal(printed.length, 1, 'pages of the hand-off sheet');
  await close(sheet);
}

await finish();

// SPDX-License-Identifier: MIT
// A picture of a field's page: decisions above, the map with soil loss below.
//
// usage: node take_picture.mjs PAGE PNG
import { chromium } from 'playwright-core';
import { pathToFileURL } from 'node:url';

const [file, picture] = process.argv.slice(2);
const browser = await chromium.launch({
  executablePath: process.env.CATCHFIELD_CHROMIUM ?? '/usr/bin/chromium', args: ['--no-sandbox'],
});
const page = await browser.newPage({ viewport: { width: 1180, height: 900 }, deviceScaleFactor: 1 });
await page.goto(pathToFileURL(file).href);
await page.check('input[name=view][value=loss-now]');
await page.dispatchEvent('svg.map.main .zone[data-zone="2"]', 'mouseenter');
// The cautions between the table and the map are long: the picture goes from the one to the other.
await page.evaluate(() => {
  for (const id of ['careful', 'soil']) document.getElementById(id).style.display = 'none';
  window.scrollTo(0, 0);
});
const box = await page.locator('.map-layout').boundingBox();
await page.screenshot({
  path: picture, fullPage: true, clip: { x: 20, y: 0, width: 1140, height: Math.ceil(box.y + box.height + 20) },
});
await browser.close();

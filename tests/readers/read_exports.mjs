// SPDX-License-Identifier: MIT
// Reads exported prescriptions back with readers that are no part of this project (geotiff,
// shapefile, geojsonhint and isoxml from npm) and compares them with the plan at random points.
//
// usage: node read_exports.mjs CATCHFIELD JOB
// Exit code: 0 all agree, 1 something does not, 77 the readers are not installed (npm ci).
import { execFileSync } from 'node:child_process';
import { createRequire } from 'node:module';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';

let fromArrayBuffer, shapefile, hint, ISOXMLManager;
try {
  ({ fromArrayBuffer } = await import('geotiff'));
  const require = createRequire(import.meta.url);
  shapefile = require('shapefile');
  hint = require('@mapbox/geojsonhint').hint;
  ({ ISOXMLManager } = require('isoxml'));
} catch (error) {
  console.log(`skipped: ${error.message}; run 'npm ci' in tests/readers`);
  process.exit(77);
}

const [program, job] = process.argv.slice(2);
const work = fs.mkdtempSync(path.join(os.tmpdir(), 'readers-'));
const seed = 20250811;
const pointsEach = 200;
const cell = 2; // m
let checks = 0;
const faults = [];
const expect = (holds, words) => {
  ++checks;
  if (!holds && faults.push(words) <= 20) console.log(`FAULT: ${words}`);
};

function run(...parts) {
  return execFileSync(program, parts, { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'] });
}
function exported(name, ...parts) {
  const sheet = JSON.parse(run('export', plan, '--output', path.join(work, name), '--json', '--cell', `${cell} m`, ...parts));
  return { folder: path.join(work, name), sheet };
}

// Repeatable random numbers (mulberry32).
function random(state) {
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

// UTM by Krueger's series to n^4 (Karney 2011, J. Geodesy 85:475-485), written here anew so that
// the check shares no code with the program.
function utm(lon, lat, zone) {
  const a = 6378137, f = 1 / 298.257223563, n = f / (2 - f), e = Math.sqrt(f * (2 - f));
  const A = (a / (1 + n)) * (1 + n ** 2 / 4 + n ** 4 / 64);
  const alpha = [n / 2 - (2 * n ** 2) / 3 + (5 * n ** 3) / 16, (13 * n ** 2) / 48 - (3 * n ** 3) / 5, (61 * n ** 3) / 240];
  const phi = (lat * Math.PI) / 180;
  const lambda = ((lon - (zone * 6 - 183)) * Math.PI) / 180;
  const t = Math.sinh(Math.atanh(Math.sin(phi)) - e * Math.atanh(e * Math.sin(phi)));
  const xi = Math.atan2(t, Math.cos(lambda));
  const eta = Math.atanh(Math.sin(lambda) / Math.hypot(1, t));
  let x = eta, y = xi;
  alpha.forEach((value, i) => {
    const j = 2 * (i + 1);
    x += value * Math.cos(j * xi) * Math.sinh(j * eta);
    y += value * Math.sin(j * xi) * Math.cosh(j * eta);
  });
  return [500000 + 0.9996 * A * x, 0.9996 * A * y];
}

const parts = (geometry) => (!geometry ? [] : geometry.type === 'Polygon' ? [geometry.coordinates] : geometry.coordinates);
function insideRing([x, y], ring) {
  let inside = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
    const [xi, yi] = ring[i], [xj, yj] = ring[j];
    if (yi > y !== yj > y && x < ((xj - xi) * (y - yi)) / (yj - yi) + xi) inside = !inside;
  }
  return inside;
}
const inside = (point, polygons) => polygons.some((p) => p.reduce((odd, ring) => odd !== insideRing(point, ring), false));
function areaM2(polygons, zone) {
  let sum = 0;
  for (const polygon of polygons) {
    polygon.forEach((ring, r) => {
      const p = ring.map(([x, y]) => utm(x, y, zone));
      let twice = 0;
      for (let i = 0; i + 1 < p.length; ++i) twice += p[i][0] * p[i + 1][1] - p[i + 1][0] * p[i][1];
      sum += ((r === 0 ? 1 : -1) * Math.abs(twice)) / 2;
    });
  }
  return sum;
}

// ---- the plan
const plan = path.join(work, 'plan');
run('plan', job, '--output', plan, '--quiet', '--nitrogen.method', 'corn-balance', '--nitrogen.max-rate', '300 lb/ac',
  '--nitrogen.step', '1 lb/ac', '--output.units', 'metric', '--field.customer', 'A & B <"Söhne">', '--field.farm', 'Hof');
const json = (file) => JSON.parse(fs.readFileSync(file, 'utf8'));
const records = json(path.join(plan, 'run.json')).fields;
const fields = records.map((record, index) => {
  const zones = (what) => json(path.join(plan, 'rates', `${record.file_stem}-${what}.geojson`)).features.map((feature) => ({
    rate: feature.properties.rate, zone: feature.properties.zone, polygons: parts(feature.geometry),
  }));
  const field = { name: record.field_id, stem: record.file_stem, nitrogen: zones('nitrogen'), seed: zones('seed') };
  const all = field.seed.flatMap((z) => z.polygons.flat(2));
  field.box = [0, 1].map((i) => [Math.min(...all.map((p) => p[i])), Math.max(...all.map((p) => p[i]))]);
  field.zone = Math.floor((field.box[0][0] + 180) / 6) + 1;
  const next = random(seed + index);
  const [[west, east], [south, north]] = field.box;
  // Points inside, and as many around the field.
  field.inside = [];
  field.outside = [];
  while (field.inside.length < pointsEach || field.outside.length < pointsEach) {
    const point = [west + (next() * 1.4 - 0.2) * (east - west), south + (next() * 1.4 - 0.2) * (north - south)];
    const list = field.seed.some((z) => inside(point, z.polygons)) ? field.inside : field.outside;
    if (list.length < pointsEach) list.push(point);
  }
  return field;
});
const distinct = new Set(fields.flatMap((f) => f.nitrogen.map((z) => z.rate)));
expect(distinct.size > 3, 'the plan has too few different rates for a test');

const rateAt = (zones, point) => zones.find((z) => inside(point, z.polygons))?.rate;
// The plan's rates within `reach` metres of a point, none included where the field ends there.
function ratesAround(field, what, [x, y], reach) {
  const north = reach / 111132, east = north / Math.cos((y * Math.PI) / 180);
  const found = new Set();
  for (let i = 0; i < 16; ++i)
    for (const r of [0, 0.5, 1])
      found.add(rateAt(field[what], [x + r * east * Math.cos((i * Math.PI) / 8), y + r * north * Math.sin((i * Math.PI) / 8)]));
  return [...found];
}
const near = (a, b, tolerance) => (a === undefined || b === undefined ? a === b : Math.abs(a - b) <= tolerance);

// reader(point): the rate a reader gives, or undefined. Cell formats may take a neighbour's rate
// within one cell's diagonal of an edge, polygon formats within 2 cm (7 decimals, twice).
function compare(title, field, what, reader, { reach, tolerance, zeroIsNone = false }) {
  let off = 0, edge = 0;
  for (const point of [...field.inside, ...field.outside]) {
    const read = reader(point);
    let wanted = ratesAround(field, what, point, reach);
    if (wanted.length > 1) ++edge;
    if (zeroIsNone) wanted = wanted.map((r) => (r === 0 ? undefined : r));
    if (!wanted.some((rate) => near(read, rate, tolerance))) ++off;
  }
  expect(off === 0, `${title}, ${field.name}, ${what}: ${off} of ${2 * pointsEach} points differ from the plan`);
  expect(edge < pointsEach, `${title}, ${field.name}: too many points lie at an edge (${edge})`);
}
function compareTotal(title, field, what, sum, sheet) {
  const entry = sheet.entries.find((e) => e.field === field.name && e.what === what);
  expect(Math.abs(sum / entry.total - 1) <= 0.001,
    `${title}, ${field.name}, ${what}: the cells or polygons add to ${sum}, the sheet says ${entry.total}`);
}
const cells = { reach: 1.5 * cell, tolerance: 0.011 };
const polygons = { reach: 0.02, tolerance: 0.001 };

// ---- GeoTIFF (geotiff from npm)
async function tiff(file) {
  const bytes = fs.readFileSync(file);
  const image = await (await fromArrayBuffer(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length))).getImage();
  const [values] = await image.readRasters();
  const [west, north] = image.getOrigin();
  const [dx, dy] = image.getResolution();
  return { image, values, west, north, dx, dy, nodata: image.getGDALNoData(), width: image.getWidth(), height: image.getHeight() };
}
for (const layout of ['tiled', 'plain', 'cog']) {
  for (const crs of ['work', 'EPSG:4326']) {
    const { folder, sheet } = exported(`tif-${layout}-${crs.replace(':', '')}`, '--to', 'geotiff', '--what', 'both', '--layout', layout, '--crs', crs);
    for (const field of fields) {
      for (const what of ['nitrogen', 'seed']) {
        const t = await tiff(path.join(folder, `${field.stem}-${what}.tif`));
        const title = `GeoTIFF ${layout} ${crs}`;
        expect(t.nodata === -9999, `${title}: nodata ${t.nodata}`);
        expect(t.values instanceof Float32Array && t.image.getSamplesPerPixel() === 1, `${title}: not one 32-bit band`);
        const words = await t.image.getGDALMetadata(0);
        expect(words.DESCRIPTION === `${what}_rate`, `${title}: description ${words.DESCRIPTION}`);
        expect(words.UNITTYPE === (what === 'seed' ? 'kg/ha' : 'kg N/ha'), `${title}: unit ${words.UNITTYPE}`);
        compare(title, field, what, ([x, y]) => {
          const [e, n] = crs === 'work' ? utm(x, y, field.zone) : [x, y];
          const col = Math.floor((e - t.west) / t.dx), row = Math.floor((n - t.north) / t.dy);
          if (col < 0 || row < 0 || col >= t.width || row >= t.height) return undefined;
          const value = t.values[row * t.width + col];
          return value === t.nodata ? undefined : value;
        }, cells);
        if (crs === 'work') {
          let sum = 0;
          for (const value of t.values) if (value !== t.nodata) sum += (value * t.dx * -t.dy) / 1e4;
          compareTotal(title, field, what, sum, sheet);
        }
      }
    }
  }
}

// ---- GeoJSON (geojsonhint from npm)
{
  const { folder, sheet } = exported('geojson', '--to', 'geojson', '--what', 'both', '--rate-column', 'menge');
  for (const field of fields) {
    for (const what of ['nitrogen', 'seed']) {
      const text = fs.readFileSync(path.join(folder, `${field.stem}-${what}.geojson`), 'utf8');
      const found = hint(text);
      expect(found.length === 0, `GeoJSON ${field.name} ${what}: ${JSON.stringify(found.slice(0, 2))}`);
      const zones = JSON.parse(text).features.map((f) => ({ rate: f.properties.menge, polygons: parts(f.geometry) }));
      compare('GeoJSON', field, what, (point) => rateAt(zones, point), polygons);
      compareTotal('GeoJSON', field, what, zones.reduce((sum, z) => sum + (z.rate * areaM2(z.polygons, field.zone)) / 1e4, 0), sheet);
    }
  }
}

// ---- Shapefile (shapefile from npm)
{
  const { folder, sheet } = exported('shape', '--to', 'shapefile', '--what', 'both');
  for (const field of fields) {
    for (const what of ['nitrogen', 'seed']) {
      const base = path.join(folder, `${field.stem}-${what}`);
      expect(/^GEOGCS\["GCS_WGS_1984"/.test(fs.readFileSync(`${base}.prj`, 'utf8')), 'shapefile: .prj dialect');
      expect(fs.readFileSync(`${base}.cpg`, 'utf8').trim() === 'UTF-8', 'shapefile: .cpg');
      const read = await shapefile.read(`${base}.shp`, `${base}.dbf`, { encoding: 'utf-8' });
      for (const feature of read.features) {
        expect(feature.geometry.type === 'Polygon', 'shapefile: a record with several parts');
        expect(Object.keys(feature.properties).every((name) => name.length <= 10), 'shapefile: a long column name');
        const ring = feature.geometry.coordinates[0];
        let twice = 0;
        for (let i = 0; i + 1 < ring.length; ++i) twice += ring[i][0] * ring[i + 1][1] - ring[i + 1][0] * ring[i][1];
        expect(twice < 0, 'shapefile: an outer ring that is not clockwise');
      }
      const zones = read.features.map((f) => ({ rate: f.properties.rate, polygons: parts(f.geometry) }));
      compare('shapefile', field, what, (point) => rateAt(zones, point), polygons);
      compareTotal('shapefile', field, what, zones.reduce((sum, z) => sum + (z.rate * areaM2(z.polygons, field.zone)) / 1e4, 0), sheet);
    }
  }
}

// ---- task data (isoxml from npm)
const rawPerUnit = { '01B0': 100, '0006': 100 };
const code = (value) => value.entity?.attributes.TreatmentZoneCode ?? value.attributes.TreatmentZoneCode;
for (const version of ['3.3', '4.3']) {
  for (const type of ['1', '2', 'none']) {
    const title = `task data ${version}, grid type ${type}`;
    const { folder, sheet } = exported(`task-${version}-${type}`, '--to', 'taskdata', '--what', 'both', '--task-version', version, '--grid-type', type, '--zip');
    const manager = new ISOXMLManager();
    await manager.parseISOXMLFile(new Uint8Array(fs.readFileSync(path.join(folder, 'TASKDATA.zip'))), 'application/zip');
    expect(manager.getWarnings().length === 0, `${title}: ${manager.getWarnings().join('; ')}`);
    const root = manager.rootElement.attributes;
    expect(root.Customer[0].attributes.CustomerLastName === 'A & B <"Söhne">', `${title}: customer ${JSON.stringify(root.Customer[0].attributes)}`);
    expect(root.Task.length === fields.length, `${title}: ${root.Task.length} tasks`);
    root.Task.forEach((task, index) => {
      const field = fields[index];
      const a = task.attributes;
      expect(a.OutOfFieldTreatmentZoneCode === 0, `${title}: out-of-field zone`);
      const zoneOf = new Map(a.TreatmentZone.map((z) => [z.attributes.TreatmentZoneCode, z.attributes]));
      const rates = (zone) => zone.ProcessDataVariable.map((v) => v.attributes.ProcessDataValue / rawPerUnit[v.attributes.ProcessDataDDI]);
      expect(rates(zoneOf.get(0)).every((r) => r === 0), `${title}: rate outside the field`);
      const ddis = zoneOf.get(1).ProcessDataVariable.map((v) => v.attributes.ProcessDataDDI);
      expect(ddis.join() === '01B0,0006', `${title}: ${ddis}`);
      ['nitrogen', 'seed'].forEach((what, product) => {
        if (type === 'none') {
          const zones = a.TreatmentZone.filter((z) => z.attributes.PolygonTreatmentZoneonly ?? z.attributes.PolygonTreatmentZoneOnly).map((z) => ({
            rate: rates(z.attributes)[product],
            rings: (z.attributes.PolygonTreatmentZoneonly ?? z.attributes.PolygonTreatmentZoneOnly).flatMap((p) => p.attributes.LineString)
              .map((l) => ({ type: l.attributes.LineStringType, ring: l.attributes.Point.map((q) => [Number(q.attributes.PointEast), Number(q.attributes.PointNorth)]) })),
          }));
          expect(zones.length > 0, `${title}: no polygons`);
          const reader = (point) => zones.find((z) => z.rings.reduce((odd, r) => odd !== insideRing(point, r.ring), false))?.rate;
          compare(title, field, what, reader, { ...polygons, tolerance: 0.0051 });
          const total = zones.reduce((sum, z) => sum + z.rate * z.rings.reduce((m2, r) =>
            m2 + (Number(r.type) === 1 ? 1 : -1) * areaM2([[r.ring]], field.zone), 0) / 1e4, 0);
          compareTotal(title, field, what, total, sheet);
          return;
        }
        const grid = a.Grid[0];
        const g = grid.attributes;
        const bytes = grid.binaryData;
        const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
        const [south, west, dy, dx] = [g.GridMinimumNorthPosition, g.GridMinimumEastPosition, g.GridCellNorthSize, g.GridCellEastSize].map(Number);
        const columns = g.GridMaximumColumn, rows = g.GridMaximumRow;
        expect(bytes.byteLength === columns * rows * (type === '1' ? 1 : 8), `${title}: length of the grid`);
        const cellRate = (row, col) => {
          const i = row * columns + col;
          if (type === '2') {
            const raw = view.getInt32(4 * (2 * i + product), true);
            return raw === 0 ? undefined : raw / rawPerUnit[ddis[product]];
          }
          const zone = view.getUint8(i);
          expect(zoneOf.has(zone), `${title}: code ${zone} without a zone`);
          return zone === 0 ? undefined : rates(zoneOf.get(zone))[product];
        };
        compare(title, field, what, ([x, y]) => {
          const col = Math.floor((x - west) / dx), row = Math.floor((y - south) / dy);
          return col < 0 || row < 0 || col >= columns || row >= rows ? undefined : cellRate(row, col);
        }, { ...cells, zeroIsNone: type === '2' });
        let sum = 0;
        for (let row = 0; row < rows; ++row) {
          const y = south + row * dy, x = west + (columns / 2) * dx;
          const m2 = areaM2([[[[x, y], [x + dx, y], [x + dx, y + dy], [x, y + dy], [x, y]]]].flat(0), field.zone);
          for (let col = 0; col < columns; ++col) sum += ((cellRate(row, col) ?? 0) * m2) / 1e4;
        }
        compareTotal(title, field, what, sum, sheet);
      });
    });
  }
}

fs.rmSync(work, { recursive: true, force: true });
console.log(`${checks} checks, ${faults.length} faults (${fields.length} fields, ${2 * pointsEach} points each, seed ${seed})`);
process.exit(faults.length === 0 ? 0 : 1);

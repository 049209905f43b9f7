// SPDX-License-Identifier: MIT
// What a figure on a page must read like, from its cell in zones.csv: an own table of units, so that
// the check shares nothing with the program.

// NIST SP 811, appendix B.8: pound 0.45359237 kg, acre 4046.8564 m2, inch 2.54 cm, short ton 2000 lb.
const acre = 0.40468564224, pound = 0.45359237;
function usFactor(column) {
  if (column.endsWith('_mg_ha')) return 1000 * acre / (2000 * pound);
  if (column.endsWith('_kg_ha')) return acre / pound;
  if (column.endsWith('_ha')) return 1 / acre;
  if (column.endsWith('_cm')) return 1 / 2.54;
  return 1;
}
// Shown with two significant digits.
const twoDigits = /^(soil_loss_|erosion_cut_|loss_over_t|erodibility_index|biomass_)/;

/// Half a unit of the last digit that is shown, for a number as text.
function halfStep(text, column) {
  const decimals = (text.split('.')[1] ?? '').length;
  if (decimals > 0) return 0.5 * 10 ** -decimals;
  const digits = text.replace('-', '').length;
  return twoDigits.test(column) && digits > 2 ? 0.5 * 10 ** (digits - 2) : 0.5;
}
const decimalsOf = (cell) => (cell.split('.')[1] ?? '').length;

/// "" where the text on the page agrees with the cell, else what is wrong. us: shown in US units.
///.
export function disagreement(column, cell, text, us) {
  if (cell === '') return text === 'not known' || text === 'none' || text === '' ? '' : `${column}: page says ${text}, the cell is empty`;
  const value = Number(cell);
  if (cell.trim() === '' || Number.isNaN(value)) {
    return text === cell.trim().replace(/\s+/g, ' ') ? '' : `${column}: page says ${text}, the cell ${cell}`;
  }
  const shown = Number(text);
  if (text === '' || Number.isNaN(shown)) return `${column}: page says ${text}, the cell ${cell}`;
  const factor = us ? usFactor(column) : 1;
  const room = halfStep(text, column) + 0.5 * 10 ** -decimalsOf(cell) * factor + 1e-9;
  return Math.abs(shown - value * factor) <= room ? '' : `${column}: page says ${text}, the cell ${cell} makes ${value * factor}`;
}

// Masses as a cook reads them: whole grams from 20 g up, below it as fine as the scale or the band asks.

export const MINUS = "\u2212";

/** A number with so many decimals, with a true minus sign, and no minus before a zero. */
export function number(value, decimals) {
  const text = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(text) !== 0 ? MINUS + text : text;
}

/** How many decimals a scale with this division shows (0.1 g: 1; 0.02 g: 2; 5 g: 0; not known: 1). */
export function decimalsOf(division) {
  if (division === null || division === undefined || division <= 0) return 1;
  return Math.min(3, Math.max(0, Math.ceil(-Math.log10(division) - 1e-9)));
}

/** How many decimals a mass is told with: whole grams from 20 g up. */
export function told(grams, division) {
  return Math.abs(grams) >= 20 ? 0 : decimalsOf(division);
}

/** A mass in words: `240 g`, `3.4 g`, `0.35 g`. */
export function mass(grams, division = null) {
  const size = Math.abs(grams);
  const decimals = size >= 20 ? 0 : division === null ? (size < 1 ? 2 : 1) : decimalsOf(division);
  return `${number(grams, decimals).replace(/\.0+$/, "")} g`;
}

/** A plain number of at most two decimals without zeros at its end: `9`, `8.5`, `1.12`. */
export function plain(value) {
  return number(value, 2).replace(/\.?0+$/, "");
}

/** A change in percent: whole from 10 up, one decimal below. */
export function percent(share) {
  const value = Math.abs(share) * 100;
  return `${value >= 10 ? value.toFixed(0) : value.toFixed(1).replace(/\.0$/, "")} %`;
}

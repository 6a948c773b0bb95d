/** No-break space between a figure and its unit. */
const SPACE = "\u00a0";

/** Seconds the shutter is open: 7.43 s, 15 s, 0.5 s. */
export function exposureTime(seconds: number): string {
  return `${significant(seconds, 3)}${SPACE}s`;
}

/** An ISO value to three digits, as it is spoken of: 3200, 1270. */
export function isoValue(iso: number): string {
  return String(Math.round(Number(iso.toPrecision(3))));
}

export function fNumber(value: number): string {
  return `f/${significant(value, 2)}`;
}

/** Stops with their sign: +0.12, −1.30, 0.00. */
export function stops(value: number): string {
  const text = Math.abs(value).toFixed(2);
  if (Number(text) === 0) return text;
  return `${value < 0 ? "−" : "+"}${text}`;
}

/** Luminance of the sky in candela a square metre, in the power of ten that reads best. */
export function luminance(cdM2: number): string {
  if (cdM2 >= 1) return `${significant(cdM2, 2)}${SPACE}cd/m²`;
  return `${significant(cdM2 * 1000, 2)}${SPACE}mcd/m²`;
}

/** A share as a percentage that never rounds something down to nothing. */
export function percent(share: number): string {
  if (share === 0) return `0${SPACE}%`;
  if (share < 0.0001) return `under 0.01${SPACE}%`;
  const value = share * 100;
  return `${value < 1 ? value.toFixed(2) : value < 10 ? value.toFixed(1) : value.toFixed(0)}${SPACE}%`;
}

/** Bytes in the power of ten that reads best. */
export function bytesText(bytes: number): string {
  const value = bytes / 1e9;
  if (value >= 10) return `${value.toFixed(0)}${SPACE}GB`;
  if (value >= 1) return `${value.toFixed(1)}${SPACE}GB`;
  if (value >= 0.001) return `${significant(bytes / 1e6, 3)}${SPACE}MB`;
  return `${(bytes / 1e3).toFixed(0)}${SPACE}kB`;
}

/** A whole number with thin groups of three: 2 040. */
export function whole(value: number): string {
  return Math.round(value).toLocaleString("en-GB").replaceAll(",", "\u202f");
}

/** At most this many significant digits, without trailing zeros and without exponents. */
export function significant(value: number, digits: number): string {
  if (value === 0) return "0";
  const places = Math.max(0, digits - 1 - Math.floor(Math.log10(Math.abs(value))));
  const text = value.toFixed(Math.min(places, 8));
  return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
}

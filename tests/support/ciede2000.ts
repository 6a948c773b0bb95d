import { decodeSrgb } from "../../core/photometry/srgb.ts";

export type Lab = readonly [lightness: number, a: number, b: number];

/** D65, Y = 1. Source: IEC 61966-2-1. */
const WHITE = [0.9505, 1, 1.089] as const;

/** CIE L*a*b* of sRGB codes 0..255, fractions allowed. Source: IEC 61966-2-1; CIE 15. */
export function labOfCodes(red: number, green: number, blue: number): Lab {
  const [r, g, b] = [decodeSrgb(red / 255), decodeSrgb(green / 255), decodeSrgb(blue / 255)];
  const x = f((0.4124 * r + 0.3576 * g + 0.1805 * b) / WHITE[0]);
  const y = f((0.2126 * r + 0.7152 * g + 0.0722 * b) / WHITE[1]);
  const z = f((0.0193 * r + 0.1192 * g + 0.9505 * b) / WHITE[2]);
  return [116 * y - 16, 500 * (x - y), 200 * (y - z)];
}

function f(share: number): number {
  return share > (6 / 29) ** 3 ? Math.cbrt(share) : share / (3 * (6 / 29) ** 2) + 4 / 29;
}

const rad = (degrees: number): number => (degrees * Math.PI) / 180;

/** Hue angle 0..360. */
function hueOf(a: number, b: number): number {
  const degrees = (Math.atan2(b, a) * 180) / Math.PI;
  return degrees < 0 ? degrees + 360 : degrees;
}

/** Difference of two colours. Source: CIEDE2000 as written out by Sharma, Wu & Dalal (2005). */
export function ciede2000(one: Lab, other: Lab): number {
  const [l1, a1, b1] = one;
  const [l2, a2, b2] = other;
  const chroma = (Math.hypot(a1, b1) + Math.hypot(a2, b2)) / 2;
  const g = 0.5 * (1 - Math.sqrt(chroma ** 7 / (chroma ** 7 + 25 ** 7)));
  const [c1, c2] = [Math.hypot((1 + g) * a1, b1), Math.hypot((1 + g) * a2, b2)];
  const [h1, h2] = [hueOf((1 + g) * a1, b1), hueOf((1 + g) * a2, b2)];
  const isGrey = c1 * c2 === 0;
  const apart = h2 - h1;
  const turn = isGrey ? 0 : apart > 180 ? apart - 360 : apart < -180 ? apart + 360 : apart;
  const sum = h1 + h2;
  const far = Math.abs(apart) > 180;
  const hue = isGrey ? sum : far ? (sum < 360 ? sum + 360 : sum - 360) / 2 : sum / 2;
  const [light, mean] = [(l1 + l2) / 2, (c1 + c2) / 2];
  const t =
    1 -
    0.17 * Math.cos(rad(hue - 30)) +
    0.24 * Math.cos(rad(2 * hue)) +
    0.32 * Math.cos(rad(3 * hue + 6)) -
    0.2 * Math.cos(rad(4 * hue - 63));
  const weightL = 1 + (0.015 * (light - 50) ** 2) / Math.sqrt(20 + (light - 50) ** 2);
  const weightC = 1 + 0.045 * mean;
  const weightH = 1 + 0.015 * mean * t;
  const turned = 30 * Math.exp(-(((hue - 275) / 25) ** 2));
  const rotation = -2 * Math.sqrt(mean ** 7 / (mean ** 7 + 25 ** 7)) * Math.sin(rad(2 * turned));
  const [dl, dc] = [(l2 - l1) / weightL, (c2 - c1) / weightC];
  const dh = (2 * Math.sqrt(c1 * c2) * Math.sin(rad(turn / 2))) / weightH;
  return Math.sqrt(dl ** 2 + dc ** 2 + dh ** 2 + rotation * dc * dh);
}

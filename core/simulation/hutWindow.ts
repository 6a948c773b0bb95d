import { RAD_PER_DEG, turnBetweenDeg } from "../sky/angles.ts";
import type { Foreground, HutWindow } from "./foreground.ts";
import { type Direction } from "../sky/direction.ts";
import { directionAt, type View } from "./view.ts";

/** Colour of lamplight at night's white balance. Common practice, no source. */
export const LAMP_HUE = [1.5, 0.9, 0.28] as const;
/** How much of the lamplight the lake mirrors. Common practice, no source. */
const LAMP_MIRRORED = 0.35;

/** Pixels that the hut's window lights, and how much of its luminance each of them sees. */
export type LitPixels = { readonly pixels: Int32Array; readonly shares: Float32Array };

/** The window, its glow on the wall, and both in the lake. */
export function windowPixels(view: View, foreground: Foreground | null): LitPixels {
  const pixels: number[] = [];
  const shares: number[] = [];
  const window = foreground?.window ?? null;
  if (foreground !== null && window !== null) {
    for (let row = 0; row < view.heightPx; row += 1) {
      for (let column = 0; column < view.widthPx; column += 1) {
        const seen = directionAt(view, column + 0.5, row + 0.5);
        if (Math.abs(seen[2]) > 0.08) continue;
        const share = windowShare(window, foreground.shoreDeg, seen, view.pxPerRad);
        if (share < 1e-5) continue;
        pixels.push(row * view.widthPx + column);
        shares.push(share);
      }
    }
  }
  return { pixels: Int32Array.from(pixels), shares: Float32Array.from(shares) };
}

function windowShare(
  window: HutWindow,
  shoreDeg: number,
  seen: Direction,
  pxPerRad: number,
): number {
  const azimuthDeg = Math.atan2(seen[0], seen[1]) / RAD_PER_DEG;
  const turned = Math.abs(turnBetweenDeg(window.azimuthDeg, azimuthDeg));
  if (turned > 3) return 0;
  const pxPerDeg = pxPerRad * RAD_PER_DEG;
  const altitudeDeg = Math.asin(seen[2]) / RAD_PER_DEG;
  const isMirrored = altitudeDeg < shoreDeg;
  const above = isMirrored ? 2 * shoreDeg - altitudeDeg : altitudeDeg;
  // Ripples draw the mirrored window out into a streak.
  const heightDeg = isMirrored ? window.heightDeg * 3 : window.heightDeg;
  const offset = Math.abs(above - window.altitudeDeg - (isMirrored ? window.heightDeg : 0));
  const across = (window.widthDeg / 2 - turned) * pxPerDeg + 0.5;
  const upright = (heightDeg / 2 - offset) * pxPerDeg + 0.5;
  const pane = Math.min(1, Math.max(0, across)) * Math.min(1, Math.max(0, upright));
  const distance = Math.hypot(turned, isMirrored ? offset / 2 : offset);
  const glow = 0.012 * Math.exp(-distance / 0.35) + 0.002 * Math.exp(-distance / 0.9);
  return (pane + glow) * (isMirrored ? LAMP_MIRRORED : 1);
}

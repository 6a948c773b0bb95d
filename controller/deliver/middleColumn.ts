import type { Picture } from "./pixels.ts";

/** Share of the width that is averaged, against noise. */
const WIDTH_SHARE = 0.02;

/**
 * The picture's middle column as RGB bytes, top to bottom, at most `heightMax` of them: a frame's
 * share of the keogram.
 */
export function middleColumn(picture: Picture, heightMax: number): Uint8Array {
  const { rgb, widthPx, heightPx } = picture;
  const height = Math.min(heightMax, heightPx);
  const half = Math.max(0.5, (widthPx * WIDTH_SHARE) / 2);
  const from = Math.max(0, Math.floor(widthPx / 2 - half));
  const to = Math.min(widthPx, Math.ceil(widthPx / 2 + half));
  const column = new Uint8Array(height * 3);
  for (let row = 0; row < height; row += 1) {
    const top = Math.floor((row * heightPx) / height);
    const bottom = Math.max(top + 1, Math.floor(((row + 1) * heightPx) / height));
    const sums = [0, 0, 0];
    for (let y = top; y < bottom; y += 1) {
      for (let x = from; x < to; x += 1) {
        const at = (y * widthPx + x) * 3;
        for (let channel = 0; channel < 3; channel += 1) sums[channel]! += rgb[at + channel]!;
      }
    }
    const count = (bottom - top) * (to - from);
    for (let channel = 0; channel < 3; channel += 1) {
      column[row * 3 + channel] = Math.round(sums[channel]! / count);
    }
  }
  return column;
}

/**
 * Light that falls on single pixels: stars, the Moon, a window, hot pixels. It touches few of them,
 * so which ones is noted, and nobody has to look at the others.
 */
export type SpriteLayer = {
  /** Linear light to add, three numbers a pixel. */
  readonly light: Float32Array;
  /** 1 where there is any. */
  readonly isLit: Uint8Array;
  /** The pixels that are lit, in the order in which light first fell on them. */
  readonly litPixels: number[];
};

/** A dark layer for a picture of so many pixels. */
export function spriteLayer(pixelCount: number): SpriteLayer {
  return {
    light: new Float32Array(pixelCount * 3),
    isLit: new Uint8Array(pixelCount),
    litPixels: [],
  };
}

/** Adds linear light to a pixel. */
export function addSprite(
  { light, isLit, litPixels }: SpriteLayer,
  pixel: number,
  red: number,
  green: number,
  blue: number,
): void {
  if (isLit[pixel] === 0) {
    isLit[pixel] = 1;
    litPixels.push(pixel);
  }
  const at = pixel * 3;
  light[at] = light[at]! + red;
  light[at + 1] = light[at + 1]! + green;
  light[at + 2] = light[at + 2]! + blue;
}

/** Makes a layer dark again for the next frame. */
export function clearSprites({ light, isLit, litPixels }: SpriteLayer): void {
  for (const pixel of litPixels) {
    isLit[pixel] = 0;
    light.fill(0, pixel * 3, pixel * 3 + 3);
  }
  litPixels.length = 0;
}

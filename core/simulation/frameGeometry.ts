import { RAD_PER_DEG } from "../sky/angles.ts";
import { silhouetteDeg, type Foreground } from "./foreground.ts";
import { windowPixels, type LitPixels } from "./hutWindow.ts";
import type { SimulatedSky } from "./simulatedSky.ts";
import { skyGrid, type SkyGrid } from "./skyLight.ts";
import { spriteLayer, type SpriteLayer } from "./spriteLayer.ts";
import { directionAt, viewOf, type View } from "./view.ts";

/** What stays the same from frame to frame: where every pixel looks, and room to work in. */
export type FrameGeometry = {
  readonly view: View;
  readonly grid: SkyGrid;
  /** How much of each pixel the land hides: 0 sky, `WATER`, up to 255. */
  readonly land: Uint8Array;
  /** Pixels of open sky. */
  readonly skyPixelCount: number;
  readonly window: LitPixels;
  readonly sprites: SpriteLayer;
};

/** Pixels between the points at which the sky is worked out: fine enough for rays, cheap enough. */
function gridStepPx(widthPx: number): number {
  return Math.min(8, Math.max(1, Math.round(widthPx / 400)));
}

/** The geometry of a picture of a sky. */
export function frameGeometry(options: {
  readonly sky: SimulatedSky;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly focalLengthMm: number;
  readonly sensorWidthMm: number;
}): FrameGeometry {
  const { sky, widthPx, heightPx, focalLengthMm, sensorWidthMm } = options;
  const view = viewOf({ centre: sky.place, focalLengthMm, sensorWidthMm, widthPx, heightPx });
  const land = landMask(view, sky.foreground);
  return {
    view,
    grid: skyGrid(sky, view, gridStepPx(widthPx)),
    land,
    skyPixelCount: land.reduce((count, hidden) => count + (hidden === 0 ? 1 : 0), 0),
    window: windowPixels(view, sky.foreground),
    sprites: spriteLayer(widthPx * heightPx),
  };
}

/** Open water in the land mask: hides next to nothing, but is not counted as sky. */
export const WATER = 1;

/** No silhouette reaches higher than this, degrees. */
const LAND_MAX_DEG = 14;

function landMask(view: View, foreground: Foreground | null): Uint8Array {
  const { widthPx, heightPx, pxPerRad } = view;
  const land = new Uint8Array(widthPx * heightPx);
  if (foreground === null) return land;
  const { shoreDeg } = foreground;
  const highest = Math.sin(LAND_MAX_DEG * RAD_PER_DEG);
  for (let row = 0; row < heightPx; row += 1) {
    for (let column = 0; column < widthPx; column += 1) {
      const seen = directionAt(view, column + 0.5, row + 0.5);
      if (seen[2] > highest) continue;
      if (seen[2] < -highest) {
        land[row * widthPx + column] = WATER;
        continue;
      }
      const altitudeDeg = Math.asin(seen[2]) / RAD_PER_DEG;
      const azimuthDeg = Math.atan2(seen[0], seen[1]) / RAD_PER_DEG;
      // In the lake the silhouette stands on its head.
      const above = altitudeDeg >= shoreDeg ? altitudeDeg : 2 * shoreDeg - altitudeDeg;
      const hiddenPx = (silhouetteDeg(foreground, azimuthDeg) - above) * RAD_PER_DEG * pxPerRad;
      const hidden = 255 * Math.min(1, Math.max(0, hiddenPx + 0.5));
      land[row * widthPx + column] = altitudeDeg < shoreDeg ? Math.max(WATER, hidden) : hidden;
    }
  }
  return land;
}

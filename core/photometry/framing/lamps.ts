import { RAD_PER_DEG } from "../../sky/angles.ts";
import type { FramePixels, Horizon } from "./lightGrid.ts";

/** A light that fills the sensor's wells. */
export type ClippedLamp = {
  /** Where, as shares of the frame's width and height from the upper left. */
  readonly x: number;
  readonly y: number;
  /** Pixels of the frame that clip. */
  readonly clippedPx: number;
  /** Near or below the horizon it is a lamp; higher it may be the Moon. */
  readonly kind: "lamp" | "moonOrLamp";
};

/**
 * Code from which red counts as clipped. Red, because the green line of the aurora fills the green
 * wells alone.
 */
const CLIPPED_CODE = 247;

/** A star is smaller than this share of the frame's width. */
const LAMP_WIDTH_SHARE = 0.0025;

/** Nearer to the horizon than this share of the frame's height a light is taken for a lamp. */
const LAMP_HEIGHT_SHARE = 0.06;

/** At most this many are named, the largest first. */
const LAMP_COUNT_MAX = 8;

/** Clipped lights larger than a star, by connected pixels. */
export function findLamps(frame: FramePixels, horizon: Horizon): readonly ClippedLamp[] {
  const { rgb, widthPx, heightPx } = frame;
  const areaMin = Math.max(4, (LAMP_WIDTH_SHARE * widthPx) ** 2);
  const seen = new Uint8Array(widthPx * heightPx);
  const isClipped = (pixel: number): boolean =>
    rgb[pixel * 3]! >= CLIPPED_CODE && rgb[pixel * 3 + 1]! >= 128;
  const lamps: ClippedLamp[] = [];
  for (let pixel = 0; pixel < seen.length; pixel += 1) {
    if (seen[pixel] === 1 || !isClipped(pixel)) continue;
    const blob = gather(pixel, { seen, isClipped, widthPx, heightPx });
    if (blob.count < areaMin) continue;
    const x = blob.sumX / blob.count / widthPx;
    const y = blob.sumY / blob.count / heightPx;
    lamps.push({
      x,
      y,
      clippedPx: blob.count,
      kind: kindAt({ x, y, aspect: widthPx / heightPx }, horizon),
    });
  }
  return lamps.sort((a, b) => b.clippedPx - a.clippedPx).slice(0, LAMP_COUNT_MAX);
}

function kindAt(
  { x, y, aspect }: { readonly x: number; readonly y: number; readonly aspect: number },
  horizon: Horizon,
): ClippedLamp["kind"] {
  if (horizon.kind === "unknown") return y > 0.6 ? "lamp" : "moonOrLamp";
  const row = horizon.y + Math.tan(horizon.tiltDeg * RAD_PER_DEG) * (x - 0.5) * aspect;
  return y > row - LAMP_HEIGHT_SHARE ? "lamp" : "moonOrLamp";
}

function gather(
  start: number,
  field: {
    readonly seen: Uint8Array;
    readonly isClipped: (pixel: number) => boolean;
    readonly widthPx: number;
    readonly heightPx: number;
  },
): { count: number; sumX: number; sumY: number } {
  const { seen, isClipped, widthPx, heightPx } = field;
  const open = [start];
  seen[start] = 1;
  let [count, sumX, sumY] = [0, 0, 0];
  while (open.length > 0) {
    const pixel = open.pop()!;
    const [x, y] = [pixel % widthPx, Math.floor(pixel / widthPx)];
    count += 1;
    sumX += x + 0.5;
    sumY += y + 0.5;
    for (const [dx, dy] of NEIGHBOURS) {
      const [nextX, nextY] = [x + dx, y + dy];
      if (nextX < 0 || nextX >= widthPx || nextY < 0 || nextY >= heightPx) continue;
      const next = nextY * widthPx + nextX;
      if (seen[next] === 1 || !isClipped(next)) continue;
      seen[next] = 1;
      open.push(next);
    }
  }
  return { count, sumX, sumY };
}

const NEIGHBOURS = [
  [1, 0],
  [-1, 0],
  [0, 1],
  [0, -1],
] as const;

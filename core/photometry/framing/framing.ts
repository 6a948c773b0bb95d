import { linearOfCode, LUMINANCE_WEIGHTS } from "../srgb.ts";
import { findHorizon } from "./horizon.ts";
import type { Horizon, FramePixels, LightGrid } from "./lightGrid.ts";
import { findLamps, type ClippedLamp } from "./lamps.ts";
import { findTownGlow, type TownGlow } from "./townGlow.ts";

/** What a test frame shows of its framing. */
export type FramingReading = {
  readonly horizon: Horizon;
  /** True when the horizon is level within a degree; `null`: it was not found. */
  readonly isLevel: boolean | null;
  readonly lamps: readonly ClippedLamp[];
  readonly townGlow: readonly TownGlow[];
  /** What to mend, in plain words; one line that all is well when nothing is. */
  readonly remarks: readonly string[];
};

/** A film shows a tilt of more than this at once. Common practice, no source. */
const LEVEL_WITHIN_DEG = 1;

/** Columns of the grid; fine enough for a lamp's halo, coarse enough to smooth noise. */
const COLUMNS = 160;

/**
 * Looks at a test frame: is the horizon level, is town light in it, do lamps clip?
 *
 * @param frame  At least 64 pixels wide and high; a preview of 1000 pixels is plenty.
 * Own method, no source; validated on rendered frames of known tilt, glow and lamps.
 */
export function readFraming(frame: FramePixels): FramingReading {
  const grid = lightGridOf(frame);
  const horizon = findHorizon(grid);
  const lamps = findLamps(frame, horizon);
  const townGlow = findTownGlow(grid, horizon);
  const isLevel = horizon.kind === "unknown" ? null : Math.abs(horizon.tiltDeg) <= LEVEL_WITHIN_DEG;
  return {
    horizon,
    isLevel,
    lamps,
    townGlow,
    remarks: remarksOf({ horizon, isLevel, lamps, townGlow }),
  };
}

function remarksOf(reading: Omit<FramingReading, "remarks">): readonly string[] {
  const { horizon, isLevel, lamps, townGlow } = reading;
  const remarks: string[] = [];
  if (horizon.kind === "unknown") remarks.push(`Horizon not found: ${horizon.why}.`);
  else if (isLevel === false) {
    const lower = horizon.tiltDeg > 0 ? "right" : "left";
    // The side of the picture that is low was held too high.
    const turn = horizon.tiltDeg > 0 ? "clockwise" : "anticlockwise";
    remarks.push(
      `The horizon falls to the ${lower} by ${Math.abs(horizon.tiltDeg).toFixed(1)}°: turn the camera ${turn}.`,
    );
  }
  for (const lamp of lamps) {
    const what = lamp.kind === "lamp" ? "A lamp" : "The Moon or a lamp";
    remarks.push(`${what} clips ${placeWords(lamp.x, lamp.y)}.`);
  }
  for (const glow of townGlow) {
    remarks.push(
      `Town light ${placeWords(glow.x, glow.y)}, ${glow.stops.toFixed(1)} stops over the sky beside it.`,
    );
  }
  if (remarks.length === 0) return ["The horizon is level; no lamp and no town light stand out."];
  // A lamp and its mirror image in the water are one remark.
  return [...new Set(remarks)];
}

function placeWords(x: number, y: number): string {
  const across = x < 1 / 3 ? "left" : x > 2 / 3 ? "right" : "centre";
  const up = y < 1 / 3 ? "upper" : y > 2 / 3 ? "lower" : "middle";
  return `at the ${up} ${across}`;
}

function lightGridOf({ rgb, widthPx, heightPx }: FramePixels): LightGrid {
  const cellPx = Math.max(1, Math.floor(widthPx / COLUMNS));
  const columns = Math.floor(widthPx / cellPx);
  const rows = Math.floor(heightPx / cellPx);
  const red = new Float32Array(columns * rows);
  const green = new Float32Array(columns * rows);
  const luminance = new Float32Array(columns * rows);
  const linear = Float32Array.from({ length: 256 }, (_, code) => linearOfCode(code));
  const { red: redWeight, green: greenWeight, blue: blueWeight } = LUMINANCE_WEIGHTS;
  const share = 1 / (cellPx * cellPx);
  for (let y = 0; y < rows * cellPx; y += 1) {
    for (let x = 0; x < columns * cellPx; x += 1) {
      const cell = Math.floor(y / cellPx) * columns + Math.floor(x / cellPx);
      const pixel = (y * widthPx + x) * 3;
      const [r, g, b] = [linear[rgb[pixel]!]!, linear[rgb[pixel + 1]!]!, linear[rgb[pixel + 2]!]!];
      red[cell]! += r * share;
      green[cell]! += g * share;
      luminance[cell]! += (redWeight * r + greenWeight * g + blueWeight * b) * share;
    }
  }
  return { columns, rows, cellPx, red, green, luminance };
}

import { auroraMoment, type AuroraCourse, type AuroraMoment } from "./auroraCourse.ts";
import { AFTERGLOW_LAGS } from "./afterglow.ts";
import { airmass } from "../sky/airmass.ts";
import { passedShare, straightened } from "./air.ts";
import { LINE_NM, SEEN_PER_KILORAYLEIGH } from "./colour.ts";
import { addCurtains, addDiffuse, momentCount, type Curtains } from "./curtains.ts";
import { cellOf, fieldLineMap, type FieldAxes, type FieldLineMap } from "./fieldLineMap.ts";
import {
  blurFeet,
  heightProfile,
  lineOfSight,
  seenCells,
  sumAlongLines,
  type FeetCopies,
  type HeightProfile,
  type LineOfSight,
  type SeenCells,
} from "./lineOfSight.ts";
import { addPatches, type Patches } from "./patches.ts";
import type { Direction } from "../sky/direction.ts";

/** The aurora of a night. */
export type Aurora = {
  readonly axes: FieldAxes;
  readonly course: AuroraCourse;
  readonly curtains: Curtains;
  readonly patches: Patches;
};

const range = (from: number, to: number, step: number): number[] =>
  Array.from({ length: Math.floor((to - from) / step + 1.001) }, (_, index) => from + index * step);

/**
 * 557.7 nm over height: a sharp lower border near 100 km, its peak near 110, and a long tail.
 * Source: O(1S) 100 to 150 km with its peak near 110 (Chamberlain 1961; from memory); shape invented.
 */
const GREEN_PROFILE = heightProfile(
  [...range(97, 113, 1.25), ...range(115, 133, 3), ...range(139, 202, 9), ...range(216, 312, 16)],
  (height) => {
    const border = 1 / (1 + Math.exp(-(height - 104) / 1.9));
    const fall = 0.72 * Math.exp(-(height - 105) / 15) + 0.28 * Math.exp(-(height - 105) / 48);
    return border * fall;
  },
  // A slice next to wider ones is itself wide and belongs with them, or it would stand out.
  (height) => (height < 111.5 ? 0 : height < 131.5 ? 1 : 2),
);

/** N2 and N2+ below and in the lower border. Source: 85 to 120 km (from memory); shape invented. */
const BORDER_PROFILE = heightProfile(
  range(87, 112, 2.5),
  (height) => Math.exp(-(((height - 101) / 5.5) ** 2)),
  () => 1,
);

/** 630.0 nm. Source: O(1D) 200 to 400 km, about 250 (Chamberlain 1961; from memory); shape invented. */
const RED_PROFILE = heightProfile(
  range(165, 435, 18),
  (height) => (1 / (1 + Math.exp(-(height - 205) / 12))) * Math.exp(-(height - 205) / 75),
  () => 1,
);

/** Even glow and patches. Source: pulsating aurora about 100 km (from memory). */
const DIFFUSE_PROFILE = heightProfile(
  range(92, 140, 4),
  (height) => Math.exp(-(((height - 106) / 13) ** 2)),
  () => 1,
);

/** Lines in given proportions, in kilorayleigh each. */
type Blend = Partial<Record<keyof typeof SEEN_PER_KILORAYLEIGH, number>>;

/** Green curtains with the violet that comes with them. Source: 427.8 about a fifth of 557.7 (from memory). */
const CURTAIN: Blend = { green: 1, violet: 0.16 };

/** The hard border per kilorayleigh of the green it goes with. Common practice, no source. */
const BORDER: Blend = { crimson: 0.3, violet: 0.14, green: 0.12 };

/** The red of the heights. */
const RED: Blend = { red: 1 };

/** Lifetime of O(1D), seconds: red lags and smears. Source: Chamberlain 1961. */
const RED_LIFETIME_SECONDS = 110;

/** Brightness from which a curtain's border turns crimson, kR of green. Common practice, no source. */
const HARD_KR = 220;

/** Red over green: strong in faint and tall aurora, weak in bright. Source: ratios from memory. */
function redOfGreen(greenKr: number): number {
  return (0.5 * greenKr) / (1 + greenKr / 9);
}

/** Everything about a set of points of the sky that does not change with time. */
export type AuroraSight = {
  /** For curtains. */
  readonly fine: SightLayer;
  /** For what is soft: red, glow, patches. */
  readonly coarse: SightLayer;
  /** What the filters see of each blend, point by point. */
  readonly colours: Readonly<Record<"curtain" | "border" | "red", PointColours>>;
};

/** What the filters see of a kilorayleigh above the air at each point: three numbers, cd/m². */
type PointColours = Float32Array;

/** A map at one fineness, how the points read it, and room to work in. */
type SightLayer = {
  readonly map: FieldLineMap;
  readonly cells: SightCells;
  readonly seen: SeenCells;
  readonly feet: FeetCopies;
  /** Brightness of the map's cells, kR. */
  readonly light: Float32Array;
  /** Sums prepared for the profiles, by name and shift. */
  readonly prepared: Map<string, LineOfSight>;
};

/** Cells of the points: index and fractions; −1 where the point sees no aurora. */
type SightCells = {
  readonly index: Int32Array;
  readonly columnPart: Float32Array;
  readonly rowPart: Float32Array;
};

/** Points lower than this see no aurora: sine of the altitude. */
const SIN_ALTITUDE_MIN = 0.012;

/**
 * Prepares for looking at the aurora along many directions; costs a few frames' time.
 *
 * @param seen  Where the points are seen; those below the horizon see none. Air lifts them from
 *   where they stand, dims them and reddens them.
 * @param stepRad  Fineness of the maps, radians.
 * @param extinctionMag  Of the air at 557.7 nm, mag an airmass; null without air.
 */
export function auroraSight(
  axes: FieldAxes,
  seen: readonly Direction[],
  stepRad: number,
  extinctionMag: number | null,
): AuroraSight {
  const directions = extinctionMag === null ? seen : seen.map(straightened);
  return {
    fine: sightLayer(axes, directions, stepRad),
    coarse: sightLayer(axes, directions, Math.max(0.012, stepRad * 3)),
    colours: {
      curtain: pointColours(CURTAIN, seen, extinctionMag),
      border: pointColours(BORDER, seen, extinctionMag),
      red: pointColours(RED, seen, extinctionMag),
    },
  };
}

function pointColours(
  blend: Blend,
  seen: readonly Direction[],
  extinctionMag: number | null,
): PointColours {
  const colours = new Float32Array(seen.length * 3);
  for (const line of ["green", "red", "crimson", "violet"] as const) {
    const kilorayleigh = blend[line] ?? 0;
    if (kilorayleigh === 0) continue;
    seen.forEach((direction, point) => {
      const passed =
        extinctionMag === null
          ? 1
          : passedShare(LINE_NM[line], extinctionMag, airmass(direction[2]));
      for (let channel = 0; channel < 3; channel += 1) {
        colours[point * 3 + channel]! +=
          kilorayleigh * passed * SEEN_PER_KILORAYLEIGH[line][channel]!;
      }
    });
  }
  return colours;
}

function sightLayer(
  axes: FieldAxes,
  directions: readonly Direction[],
  stepRad: number,
): SightLayer {
  const above = directions.filter((direction) => direction[2] > SIN_ALTITUDE_MIN);
  const map = fieldLineMap(axes, above, stepRad);
  const cells = cellsOf(map, directions);
  const room = (): Float32Array => new Float32Array(map.columnCount * map.rowCount);
  return {
    map,
    cells,
    seen: seenCells(map, corners(map, cells)),
    feet: [room(), room(), room()],
    light: room(),
    prepared: new Map(),
  };
}

function cellsOf(map: FieldLineMap, directions: readonly Direction[]): SightCells {
  const index = new Int32Array(directions.length).fill(-1);
  const columnPart = new Float32Array(directions.length);
  const rowPart = new Float32Array(directions.length);
  directions.forEach((direction, at) => {
    if (direction[2] <= SIN_ALTITUDE_MIN) return;
    const { column, row } = cellOf(map, direction);
    const last = map.isCircle ? map.columnCount - 1 : map.columnCount - 2;
    const left = Math.min(last, Math.max(0, Math.floor(column)));
    const low = Math.min(map.rowCount - 2, Math.max(0, Math.floor(row)));
    index[at] = left * map.rowCount + low;
    columnPart[at] = Math.min(1, Math.max(0, column - left));
    rowPart[at] = Math.min(1, Math.max(0, row - low));
  });
  return { index, columnPart, rowPart };
}

/** The four cells between which each point reads the map. */
function* corners(map: FieldLineMap, { index }: SightCells): Iterable<number> {
  for (const cell of index) {
    if (cell < 0) continue;
    const next = nextColumn(map, cell);
    yield* [cell, cell + 1, next, next + 1];
  }
}

/** The cell at the same height in the next column; in a closed map the last one's is the first's. */
function nextColumn({ columnCount, rowCount }: FieldLineMap, cell: number): number {
  const next = cell + rowCount;
  return next >= columnCount * rowCount ? next - columnCount * rowCount : next;
}

/**
 * Adds the aurora, averaged over an exposure, to what the filters see at the points of a sight.
 *
 * @param fromSeconds  Since the night's start; with `seconds`, the exposure. 0 seconds: a moment.
 * @param light  Three numbers a point, cd/m².
 */
export function addAurora(options: {
  readonly aurora: Aurora;
  readonly sight: AuroraSight;
  readonly fromSeconds: number;
  readonly seconds: number;
  readonly light: Float32Array;
}): void {
  const { aurora, sight, fromSeconds, seconds, light } = options;
  const middle = auroraMoment(aurora.course, fromSeconds + seconds / 2);
  const span = { fromSeconds, seconds, middle };
  // Hard, bright precipitation reaches lower; the border follows activity.
  const shiftKm = Math.round(2 * (3 - 7 * middle.activity)) / 2;
  const { fine, coarse, colours } = sight;

  drawGreen(aurora, fine, span);
  raise(fine, fine.feet, preparedSight(fine, "green", shiftKm), colours.curtain, light);

  const hard = fine.feet[1];
  hardenFeet(hard);
  const border = preparedSight(fine, "border", shiftKm);
  raise(fine, [hard, hard, hard], border, colours.border, light);

  drawRed(aurora, coarse, fromSeconds + seconds / 2);
  const red = preparedSight(coarse, "red", 0);
  raise(coarse, coarse.feet, red, colours.red, light);

  drawGlow(aurora, coarse, span);
  raise(coarse, coarse.feet, preparedSight(coarse, "diffuse", 0), colours.curtain, light);
}

/** Raises feet along the field's lines and adds what the filters see of it. */
function raise(
  layer: SightLayer,
  feet: FeetCopies,
  sums: LineOfSight,
  colours: PointColours,
  light: Float32Array,
): void {
  sumAlongLines(layer.map, feet, sums, layer.seen, layer.light);
  spread(layer, colours, light);
}

const PROFILES: Readonly<Record<"green" | "border" | "red" | "diffuse", HeightProfile>> = {
  green: GREEN_PROFILE,
  border: BORDER_PROFILE,
  red: RED_PROFILE,
  diffuse: DIFFUSE_PROFILE,
};

/** Prepared sums kept with a layer. */
const PREPARED_MAX = 16;

/** The prepared sum of a profile; shifts come in half kilometres, so that few are ever needed. */
function preparedSight(
  { map, prepared }: SightLayer,
  name: keyof typeof PROFILES,
  shiftKm: number,
): LineOfSight {
  const key = `${name} ${shiftKm}`;
  const known = prepared.get(key);
  if (known !== undefined) return known;
  const sums = lineOfSight(map, PROFILES[name], shiftKm);
  if (prepared.size >= PREPARED_MAX) prepared.clear();
  prepared.set(key, sums);
  return sums;
}

/** An exposure, and the aurora at its middle. */
type Span = {
  readonly fromSeconds: number;
  readonly seconds: number;
  readonly middle: AuroraMoment;
};

/** The curtains' green, moment by moment, so that what moves smears. */
function drawGreen({ curtains, course }: Aurora, { map, feet }: SightLayer, span: Span): void {
  const { fromSeconds, seconds, middle } = span;
  feet[0].fill(0);
  // The fineness of the map at a typical distance of 200 km.
  const count = momentCount(middle, seconds, map.thetaStep * 200 * 2);
  for (let index = 0; index < count; index += 1) {
    addCurtains({
      curtains,
      moment: auroraMoment(course, fromSeconds + (seconds * (index + 0.5)) / count),
      map,
      feet: feet[0],
      weight: 1 / count,
      spanSeconds: seconds / count,
    });
  }
  blurFeet(map, feet);
}

/** From the feet's green to the light of the lower border's hard part. */
function hardenFeet(feet: Float32Array): void {
  for (let index = 0; index < feet.length; index += 1) {
    const green = feet[index]!;
    feet[index] = green === 0 ? 0 : (green * green) / (green + HARD_KR);
  }
}

/** The red of the last minutes, smeared as it was left behind. */
function drawRed({ curtains, course }: Aurora, { map, feet }: SightLayer, atSeconds: number): void {
  const [sharp] = feet;
  sharp.fill(0);
  for (const lag of AFTERGLOW_LAGS) {
    addCurtains({
      curtains,
      moment: auroraMoment(course, atSeconds - lag * RED_LIFETIME_SECONDS),
      map,
      feet: sharp,
      weight: 1 / AFTERGLOW_LAGS.length,
      spanSeconds: 6,
      sigmaKmMin: 11,
    });
  }
  for (let index = 0; index < sharp.length; index += 1) {
    const green = sharp[index]!;
    if (green > 0) sharp[index] = redOfGreen(green);
  }
  blurFeet(map, feet);
}

/** The even glow about the arcs, and the pulsating patches. */
function drawGlow({ curtains, patches }: Aurora, { map, feet }: SightLayer, span: Span): void {
  const { fromSeconds, seconds, middle } = span;
  const glow = { curtains, moment: middle, map, feet: feet[0] };
  feet[0].fill(0);
  addDiffuse(glow);
  addPatches({ ...glow, patches, fromSeconds, seconds });
  blurFeet(map, feet);
}

/** Adds a layer's light, times what the filters see of a kilorayleigh, at the points of a sight. */
function spread(
  { map, cells, light: kilorayleigh }: SightLayer,
  colours: PointColours,
  light: Float32Array,
): void {
  const { index, columnPart, rowPart } = cells;
  for (let point = 0; point < index.length; point += 1) {
    const at = index[point]!;
    if (at < 0) continue;
    const next = nextColumn(map, at);
    const up = rowPart[point]!;
    const a = kilorayleigh[at]! + up * (kilorayleigh[at + 1]! - kilorayleigh[at]!);
    const b = kilorayleigh[next]! + up * (kilorayleigh[next + 1]! - kilorayleigh[next]!);
    const value = a + columnPart[point]! * (b - a);
    if (value === 0) continue;
    const to = point * 3;
    light[to] = light[to]! + colours[to]! * value;
    light[to + 1] = light[to + 1]! + colours[to + 1]! * value;
    light[to + 2] = light[to + 2]! + colours[to + 2]! * value;
  }
}

import type { UtcMs } from "../../core/units.ts";
import { seenHue, seenOf, type Rgb } from "../../core/simulation/colour.ts";
import { spruceShore } from "../../core/simulation/foreground.ts";
import { noiseLine } from "../../core/simulation/noise.ts";
import type { SimulatedSky, SkyPlace } from "../../core/simulation/simulatedSky.ts";
import { starOf, type SkyStar } from "../../core/simulation/stars.ts";
import { SEEN_PER_KILORAYLEIGH } from "../../core/simulation/colour.ts";
import { starRotation } from "../../core/sky/starRotation.ts";
import { directionOf, dot, type Direction } from "../../core/sky/direction.ts";

/**
 * Skies of which everything is known, for tests of what measures pictures; the renderer makes no
 * difference between them and a night.
 */

/** Where a scene's camera looks when it does not matter: north, clear of the ground. */
const SCENE_PLACE: SkyPlace = {
  latitudeDeg: 68.9,
  longitudeDeg: 27,
  azimuthDeg: 0,
  altitudeDeg: 45,
};

const SCENE_START = Date.UTC(2026, 9, 5, 21) as UtcMs;

/** What every scene starts from: a black sky. */
function blackSky(place: SkyPlace, hasLand: boolean): SimulatedSky {
  return {
    seed: "scene",
    place,
    startUtcMs: SCENE_START,
    durationSeconds: 86_400,
    scenario: "scene",
    clear: null,
    even: null,
    stars: [],
    aurora: null,
    clouds: null,
    pattern: null,
    foreground: hasLand ? spruceShore("scene", place.azimuthDeg) : null,
    mottle: noiseLine("scene"),
  };
}

/** What scenes have in common. */
export type SceneOptions = {
  readonly place?: SkyPlace;
  /** Land, trees and lake in the lower part; default false. */
  readonly hasLand?: boolean;
};

/**
 * A sky of one luminance everywhere.
 *
 * @param luminanceCdM2  ≥ 0.
 * @param colour  Linear sRGB of it, at any scale; default grey.
 */
export function uniformScene(
  options: SceneOptions & { readonly luminanceCdM2: number; readonly colour?: Rgb },
): SimulatedSky {
  const { luminanceCdM2, colour = [1, 1, 1], place = SCENE_PLACE, hasLand = false } = options;
  const hue = seenHue(colour);
  return {
    ...blackSky(place, hasLand),
    even: [hue[0] * luminanceCdM2, luminanceCdM2, hue[2] * luminanceCdM2],
  };
}

/** A sky that shines everywhere in 557.7 nm with this many kilorayleigh. Source: see `colour.ts`. */
export function greenLineScene(
  options: SceneOptions & { readonly kilorayleigh: number },
): SimulatedSky {
  const { kilorayleigh, place = SCENE_PLACE, hasLand = false } = options;
  const [red, green, blue] = SEEN_PER_KILORAYLEIGH.green;
  return {
    ...blackSky(place, hasLand),
    even: [red * kilorayleigh, green * kilorayleigh, blue * kilorayleigh],
  };
}

/**
 * Upright rays that drift at a known angular speed across the middle of the frame, over an even
 * background of a tenth of their brightness.
 *
 * @param degPerSecond  To the right if positive, about the frame's upward axis; on the frame's
 *   horizontal middle line it is the apparent speed itself.
 * @param widthDeg  Of a ray.
 * @param contrast  0 even .. 1 from dark to twice the mean.
 * @param band  Lowest and highest point of the rays from the frame's middle, degrees.
 */
export function driftingCurtainScene(
  options: SceneOptions & {
    readonly degPerSecond: number;
    readonly luminanceCdM2: number;
    readonly widthDeg?: number;
    readonly contrast?: number;
    readonly band?: readonly [fromDeg: number, toDeg: number];
  },
): SimulatedSky {
  const { degPerSecond, luminanceCdM2, place = SCENE_PLACE, hasLand = false } = options;
  const hue = seenHue([0.25, 1.3, 0.24]);
  const [fromDeg, toDeg] = options.band ?? [-15, 20];
  return {
    ...blackSky(place, hasLand),
    even: seenOf([0.1, 0.1, 0.1]).map((part) => part * luminanceCdM2) as unknown as Rgb,
    pattern: {
      axis: directionOf(place.azimuthDeg, place.altitudeDeg + 90),
      zero: directionOf(place.azimuthDeg, place.altitudeDeg),
      degPerSecond,
      widthDeg: options.widthDeg ?? 2,
      seen: [hue[0] * luminanceCdM2, luminanceCdM2, hue[2] * luminanceCdM2],
      contrast: options.contrast ?? 0.8,
      fromDeg,
      toDeg,
      rays: noiseLine("drifting curtain"),
    },
  };
}

/** A band of even light between two altitudes all around: an arc whose place is known. */
export function arcScene(
  options: SceneOptions & {
    readonly luminanceCdM2: number;
    readonly fromAltitudeDeg: number;
    readonly toAltitudeDeg: number;
  },
): SimulatedSky {
  const { luminanceCdM2, fromAltitudeDeg, toAltitudeDeg } = options;
  const { place = SCENE_PLACE, hasLand = false } = options;
  const hue = seenHue([0.25, 1.3, 0.24]);
  return {
    ...blackSky(place, hasLand),
    pattern: {
      axis: [0, 0, 1],
      zero: [0, 1, 0],
      degPerSecond: 0,
      widthDeg: 2,
      seen: [hue[0] * luminanceCdM2, luminanceCdM2, hue[2] * luminanceCdM2],
      contrast: 0,
      fromDeg: fromAltitudeDeg,
      toDeg: toAltitudeDeg,
      rays: noiseLine("arc"),
    },
  };
}

/**
 * Single stars on an even sky; they turn with the sky like real ones.
 *
 * @param stars  Where they stand at the scene's start, degrees, and their V magnitude; the scene's
 *   sky takes no light from them.
 */
export function starScene(
  options: SceneOptions & {
    readonly stars: readonly {
      readonly azimuthDeg: number;
      readonly altitudeDeg: number;
      readonly magnitude: number;
    }[];
    readonly luminanceCdM2?: number;
  },
): SimulatedSky {
  const { place = SCENE_PLACE, luminanceCdM2 = 1e-4 } = options;
  const sky = uniformScene({ ...options, luminanceCdM2 });
  const rows = starRotation(place, sky.startUtcMs);
  // The inverse of a rotation is its transpose.
  const columns = [0, 1, 2].map((index): Direction => [
    rows[0][index]!,
    rows[1][index]!,
    rows[2][index]!,
  ]);
  const stars = options.stars.map(({ azimuthDeg, altitudeDeg, magnitude }): SkyStar => {
    const here = directionOf(azimuthDeg, altitudeDeg);
    const star = starOf({
      rightAscensionDeg: 0,
      declinationDeg: 0,
      magnitude,
      colourIndex: 0.65,
    });
    const direction: Direction = [
      dot(columns[0]!, here),
      dot(columns[1]!, here),
      dot(columns[2]!, here),
    ];
    return { ...star, direction };
  });
  return { ...sky, stars };
}

/** When a scene begins; its drifting things are at their start then. */
export const SCENE_START_UTC_MS: UtcMs = SCENE_START;

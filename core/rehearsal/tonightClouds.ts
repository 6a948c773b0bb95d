import type { Random } from "../random.ts";
import { cloudLit, cloudTransmission, type CloudLayer } from "../simulation/clouds.ts";
import { noiseLine } from "../simulation/noise.ts";
import type { Direction } from "../sky/direction.ts";
import { directionAt, viewOf } from "../simulation/view.ts";
import type { NightPlan } from "../plan/plan.ts";

/** How cloudy the simulated nights are; within a choice every night is another one. */
export type TonightCloudiness = "clear" | "some" | "changing";

/** What clouds leave of the framed sky at one moment. */
type CloudMoment = {
  /** Mean share of the light from behind the clouds that arrives, 0..1. */
  readonly passedMean: number;
  /** The same where the clouds are thinnest. */
  readonly passedMost: number;
  /** Mean brightness of the frame over that without clouds, for an even sky behind them. */
  readonly meanFactor: number;
};

const NO_CLOUDS: CloudMoment = { passedMean: 1, passedMost: 1, meanFactor: 1 };

/** How often which cover comes, and how long it stays. */
type CloudFigures = {
  /** Parameters of the cover's distribution; see `coverAt`. */
  readonly shape: readonly [a: number, b: number];
  /** Time in which a cover is forgotten, hours. */
  readonly hoursKept: number;
  /** Share of the cover's variance that lies between nights rather than within one, 0..1. */
  readonly nightShare: number;
};

/**
 * Invented, all of them: a night of some cloud is mostly open with fields passing; a changing one
 * runs from clear to overcast, and some stay at either end. That cover is more often near its ends
 * than between them is published (Falls 1974, J. Geophys. Res. 79:1261, from memory).
 */
const FIGURES: Readonly<Record<Exclude<TonightCloudiness, "clear">, CloudFigures>> = {
  some: { shape: [1, 1.5], hoursKept: 1, nightShare: 0.3 },
  changing: { shape: [0.6, 0.6], hoursKept: 2.5, nightShare: 0.5 },
};

/** Distance of the points between which the cover runs straight, seconds. */
const STEP_SECONDS = 600;

/** Points of the frame at which clouds are looked at; clouds are wider than their distance. */
const GRID = { widthPx: 4, heightPx: 3 };

/**
 * A night's clouds over the framed sky, as a function of the seconds since its begin; same random
 * stream, same clouds. They are the layer that the demo's sky is drawn with, under a cover and a
 * wind of this night's own.
 */
export function tonightClouds(options: {
  readonly cloudiness: TonightCloudiness;
  readonly plan: NightPlan;
  readonly durationSeconds: number;
  readonly random: Random;
}): (atSeconds: number) => CloudMoment {
  const { cloudiness, plan, durationSeconds, random } = options;
  if (cloudiness === "clear") return () => NO_CLOUDS;
  const cover = coverCourse(FIGURES[cloudiness], durationSeconds, random.fork("cover"));
  const layer = layerOf(random.fork("layer"));
  const directions = framedDirections(plan);
  return (atSeconds) => {
    const now = cover(atSeconds);
    const passed = directions.map((to) => cloudTransmission(layer, now, atSeconds, to));
    const mean = (values: readonly number[]): number =>
      values.reduce((sum, value) => sum + value, 0) / values.length;
    return {
      passedMean: mean(passed),
      passedMost: Math.max(...passed),
      meanFactor: mean(passed.map((share) => cloudLit(1, 1, share))),
    };
  };
}

/** Invented: water clouds of low and middle height, dense enough to hide an arc. */
function layerOf(random: Random): CloudLayer {
  const windMPerS = 5 + 15 * random.uniform();
  const towards = 2 * Math.PI * random.uniform();
  return {
    heightKm: 1.5 + 3 * random.uniform(),
    windMPerS: [windMPerS * Math.sin(towards), windMPerS * Math.cos(towards)],
    thickness: 3.5,
    scaleKm: 3 + 5 * random.uniform(),
    pattern: noiseLine(`clouds ${random.integer(2 ** 31)}`),
  };
}

function framedDirections({ kit, facingBearingDeg, facingElevationDeg }: NightPlan): Direction[] {
  const view = viewOf({
    centre: { azimuthDeg: facingBearingDeg, altitudeDeg: facingElevationDeg },
    focalLengthMm: kit.focalLengthMm,
    sensorWidthMm: kit.sensorWidthMm,
    ...GRID,
  });
  const directions: Direction[] = [];
  for (let row = 0; row < GRID.heightPx; row += 1) {
    for (let column = 0; column < GRID.widthPx; column += 1) {
      directions.push(directionAt(view, column + 0.5, row + 0.5));
    }
  }
  const open = directions.filter(([, , up]) => up > 0);
  return open.length === 0 ? directions : open;
}

/** Cover over the night: a wandering that forgets itself, laid onto the cover's distribution. */
function coverCourse(
  { shape, hoursKept, nightShare }: CloudFigures,
  durationSeconds: number,
  random: Random,
): (atSeconds: number) => number {
  const kept = Math.exp(-STEP_SECONDS / (hoursKept * 3600));
  const night = random.normal();
  let wander = random.normal();
  const covers: number[] = [];
  for (let at = 0; at <= durationSeconds + 2 * STEP_SECONDS; at += STEP_SECONDS) {
    const standard = Math.sqrt(nightShare) * night + Math.sqrt(1 - nightShare) * wander;
    covers.push(coverAt(standard, shape));
    wander = kept * wander + Math.sqrt(1 - kept * kept) * random.normal();
  }
  return (atSeconds) => {
    const position = Math.min(covers.length - 1.001, Math.max(0, atSeconds / STEP_SECONDS));
    const index = Math.floor(position);
    return covers[index]! + (covers[index + 1]! - covers[index]!) * (position - index);
  };
}

/**
 * The cover that a standard normal number stands for: its probability, put through the quantiles of
 * Kumaraswamy's distribution, which has the shapes of the beta distribution in closed form.
 * Sources: Kumaraswamy 1980, J. Hydrol. 46:79 (from memory); the normal distribution by a logistic
 * curve, within 0.01.
 */
function coverAt(standard: number, [a, b]: CloudFigures["shape"]): number {
  const probability = 1 / (1 + Math.exp(-1.702 * standard));
  return (1 - (1 - probability) ** (1 / b)) ** (1 / a);
}

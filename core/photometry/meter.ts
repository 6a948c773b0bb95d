import { atan2Deg } from "../sky/angles.ts";
import { measureMotion, NO_MOTION_HISTORY, type MotionHistory } from "../activity/motion.ts";
import { drawMotionMap } from "../activity/motionMap.ts";
import { luminanceCdM2Of, type Exposure } from "../exposure/exposure.ts";
import { monotonicMs, type MonotonicMs } from "../units.ts";
import { leaveOutLights, type BrightLight } from "./brightLights.ts";
import { reduceToCells, type CellGrid } from "./cells.ts";
import { hotPixelsOf, learnHotPixels, NO_HOT_PIXELS, type HotPixelEvidence } from "./hotPixels.ts";
import { findPointCells, lightMapOf } from "./lightOfCells.ts";
import { type LightMap } from "../activity/lightMap.ts";
import { TONE_CURVE_UNSURE, type Reading } from "./reading.ts";
import { type CurtainMotion } from "../exposure/curtainMotion.ts";
import {
  lightTable,
  responseUncertaintyStops,
  startToneResponse,
  type ToneResponse,
} from "./response.ts";
import { codesAtQuantiles } from "./codeQuantiles.ts";
import { learnFrame, startResponseLearner, type ResponseLearner } from "./responseLearner.ts";
import {
  findGlow,
  gatherSkyEvidence,
  groundShare,
  skyCells,
  type SkyEvidence,
  type SkyMaskByHand,
} from "./skyMask.ts";
import { DARKEST_LIGHT, type SkyStatistics } from "./skyStatistics.ts";
import {
  measureWithoutGlow,
  NO_GLOW,
  type GlowMemory,
  type SkyWithoutGlow,
} from "./skyWithoutGlow.ts";
import { findStars, starFieldOf, type StarField } from "./starWidth.ts";

/** What the meter knows of the camera before the first frame. */
export type MeterOptions = {
  readonly focalLengthMm: number;
  /** Pixel pitch of the full-size frame. */
  readonly pixelPitchUm: number;
  /** Width of the full-size frame; speeds are given in its pixels. */
  readonly fullWidthPx: number;
  /** A usual width stands in for one that is not known; left out: it is. */
  readonly isScaleGuessed?: boolean;
  /** What is not known of these, in words; left out: nothing. */
  readonly remarks?: readonly string[];
  /** The photographer's correction of what was found to be sky. */
  readonly skyMaskByHand?: SkyMaskByHand;
};

/**
 * What the meter remembers from frame to frame; never changed, always replaced. `response` is what
 * is worth keeping for the camera's next night.
 */
export type MeterState = {
  readonly options: MeterOptions;
  readonly response: ToneResponse;
  /** Light of every eighth of a code, by the response. */
  readonly table: Float32Array;
  readonly learner: ResponseLearner;
  readonly evidence: SkyEvidence | null;
  readonly glow: GlowMemory;
  readonly hotPixels: HotPixelEvidence;
  /** The sky's structure in the last frames. */
  readonly motion: MotionHistory;
  /** The stars of the newest frame in which they were measured. */
  readonly stars: StarField;
  /** Width of the images metered so far; another width begins evidence again. */
  readonly widthPx: number;
  readonly frameCount: number;
};

/** One decoded frame, upright. */
type MeterFrame = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** sRGB, three bytes a pixel, row by row. */
  readonly rgb: Uint8Array;
  /**
   * True when a governor chose the exposure to follow the sky. Two such frames in a row say nothing
   * of the tone curve: where the exposure rises because the sky falls, the codes stay the same
   * whatever the curve. Left out: the exposure varies for its own reasons.
   */
  readonly followsTheSky?: boolean;
  /** The exposure that happened. */
  readonly exposure: Exposure;
  readonly openedMs: MonotonicMs;
};

/** A meter before its first frame. @param response  What an earlier night learned of this camera. */
export function startMeter(
  options: MeterOptions,
  response: ToneResponse = startToneResponse(),
): MeterState {
  return {
    options,
    response,
    table: lightTable(response),
    learner: startResponseLearner(response),
    evidence: null,
    glow: NO_GLOW,
    hotPixels: NO_HOT_PIXELS,
    motion: NO_MOTION_HISTORY,
    stars: NO_STARS,
    widthPx: 0,
    frameCount: 0,
  };
}

/** The meter with what has been learned of lens and sensor; the old motion was counted by another scale. */
export function withOptics(
  state: MeterState,
  optics: Pick<
    MeterOptions,
    "focalLengthMm" | "pixelPitchUm" | "fullWidthPx" | "isScaleGuessed" | "remarks"
  >,
): MeterState {
  const { focalLengthMm, pixelPitchUm, fullWidthPx } = state.options;
  const isSame =
    optics.focalLengthMm === focalLengthMm &&
    optics.pixelPitchUm === pixelPitchUm &&
    optics.fullWidthPx === fullWidthPx;
  return {
    ...state,
    options: { ...state.options, ...optics },
    motion: isSame ? state.motion : NO_MOTION_HISTORY,
  };
}

/** The evidence of the sky is renewed with each of the first frames, then now and then. */
const EVIDENCE_FRAMES = 12;
const EVIDENCE_EVERY = 4;
const EVIDENCE_EVERY_SURE = 12;
/** Narrower images show no stars that could be measured. */
const STARS_WIDTH_PX_MIN = 320;
const STAR_CANDIDATES_MAX = 80;
const STAMP_RADIUS_MAX = 14;
/** Dew and focus change slowly: stars are measured in every so many frames. */
const STARS_EVERY = 4;
/** Narrower images show no curtains whose shift could be measured. */
const MOTION_WIDTH_PX_MIN = 240;
const NO_STARS: StarField = { stars: [], widthPx: null, lightStops: null };

/**
 * Meters one frame. Frames come in the order in which they were taken; a frame of another size
 * begins the evidence of sky and hot pixels again and keeps the tone curve.
 *
 * Any image is answered: a black one with the darkest light that is distinguishable from black, a white one
 * with the light of code 255, each with a remark and a wide uncertainty.
 */
export function meterFrame(
  state: MeterState,
  frame: MeterFrame,
): { reading: Reading; state: MeterState } {
  const grid = reduceToCells(frame.widthPx, frame.heightPx, frame.rgb);
  const light = lightMapOf(grid, state.table);
  const known = frame.widthPx === state.widthPx ? state : forgetPlaces(state, frame.widthPx);
  const every = known.evidence?.isSure === true ? EVIDENCE_EVERY_SURE : EVIDENCE_EVERY;
  const isEvidenceDue = known.frameCount < EVIDENCE_FRAMES || known.frameCount % every === 0;
  const evidence =
    known.evidence === null || isEvidenceDue
      ? gatherSkyEvidence(known.evidence, light)
      : known.evidence;
  const sky = chooseSky(known, frame, grid, light, evidence);
  const withoutGlow = measureWithoutGlow(known.glow, {
    ...{ grid, light, isMetered: sky.isMetered, glowCells: sky.glowCells },
    ...{ exposure: frame.exposure, atMs: frame.openedMs },
  });
  const { stars, hotPixels } = measureStars(known, frame, sky.isSky);
  const { learner, response } = learnFrame(
    known.learner,
    codesAtQuantiles(grid, sky.isMetered, frame),
  );
  const { motion, history } = followCurtains(known, frame, grid.cellPx, light, sky);
  const reading = readingOf({ state, frame, evidence, sky, withoutGlow, stars, motion });
  return {
    reading,
    state: {
      ...known,
      learner,
      evidence,
      glow: withoutGlow.memory,
      hotPixels,
      stars,
      motion: history,
      frameCount: known.frameCount + 1,
      ...(response === null ? {} : { response, table: lightTable(response) }),
    },
  };
}

function forgetPlaces(state: MeterState, widthPx: number): MeterState {
  const { options, response } = state;
  return { ...startMeter(options, response), learner: state.learner, widthPx };
}

type ChosenSky = {
  /** Sky, lights left out. */
  readonly isSky: Uint8Array;
  /** The same without stars and hot pixels; what the mean is taken of. */
  readonly isMetered: Uint8Array;
  readonly lights: readonly BrightLight[];
  /** Cells of a town's glow, if there is one. */
  readonly glowCells: readonly number[];
  readonly isWhole: boolean;
};

function chooseSky(
  { options }: MeterState,
  frame: MeterFrame,
  grid: CellGrid,
  light: LightMap,
  evidence: SkyEvidence,
): ChosenSky {
  const byHand = options.skyMaskByHand ?? null;
  let isSky = skyCells(light, evidence, byHand);
  const isWhole = !isSky.includes(1);
  if (isWhole) isSky = new Uint8Array(isSky.length).fill(1);
  const lights = leaveOutLights(isSky, grid, light, {
    meanLight: evidence.medianLight,
    redOverGreen: evidence.redOverGreen,
    degPerPx: degPerPx(options, frame.widthPx),
  });
  const glowCells = byHand === null ? findGlow(evidence) : [];
  const isMetered = findPointCells(light);
  for (let cell = 0; cell < isSky.length; cell += 1) {
    isMetered[cell] = isSky[cell]! & (1 - isMetered[cell]!);
  }
  return { isSky, isMetered, lights, glowCells, isWhole };
}

function measureStars(state: MeterState, frame: MeterFrame, isSky: Uint8Array) {
  const { stars, hotPixels } = state;
  if (frame.widthPx < STARS_WIDTH_PX_MIN || state.frameCount % STARS_EVERY !== 0) {
    return { stars, hotPixels };
  }
  const { table, options } = state;
  const found = findStars(frame, {
    table,
    isSky,
    candidatesMax: STAR_CANDIDATES_MAX,
    stampRadiusMax: STAMP_RADIUS_MAX,
  });
  const hot = hotPixelsOf(hotPixels, frame.widthPx, degPerPx(options, frame.widthPx));
  const cold = found.stars.filter(
    ({ x, y }) => !hot.has(Math.round(y) * frame.widthPx + Math.round(x)),
  );
  return {
    stars: starFieldOf(cold),
    hotPixels: learnHotPixels(hotPixels, found.stars, frame.openedMs),
  };
}

function followCurtains(
  state: MeterState,
  frame: MeterFrame,
  cellPx: number,
  light: LightMap,
  sky: ChosenSky,
): { motion: CurtainMotion; history: MotionHistory } {
  if (frame.widthPx < MOTION_WIDTH_PX_MIN) {
    const why = "the preview is too small to show motion";
    return { motion: { kind: "unknown", why }, history: state.motion };
  }
  const map = drawMotionMap(light, sky.isSky, sky.isMetered, {
    cellDeg: degPerPx(state.options, frame.widthPx / cellPx),
    midMs: monotonicMs(frame.openedMs + frame.exposure.exposureSeconds * 500),
    exposureSeconds: frame.exposure.exposureSeconds,
  });
  return measureMotion(state.motion, map, state.options);
}

/** Degrees that one pixel of an image of this width covers on the axis. */
function degPerPx(options: MeterOptions, widthPx: number): number {
  const pitchMm = (options.pixelPitchUm / 1000) * (options.fullWidthPx / widthPx);
  return atan2Deg(pitchMm, options.focalLengthMm);
}

type Measured = {
  readonly state: MeterState;
  readonly frame: MeterFrame;
  readonly evidence: SkyEvidence;
  readonly sky: ChosenSky;
  readonly withoutGlow: SkyWithoutGlow;
  readonly stars: StarField;
  readonly motion: CurtainMotion;
};

function readingOf(measured: Measured): Reading {
  const { state, frame, sky, withoutGlow, stars, motion } = measured;
  const { statistics } = withoutGlow;
  const skyStops = Math.log2(statistics.mean);
  return {
    skyStops,
    uncertaintyStops: uncertaintyOf(measured),
    skyLuminanceCdM2: luminanceCdM2Of(skyStops, frame.exposure),
    peakRatio: statistics.peak / statistics.mean,
    clippedShare: statistics.clippedShare,
    skyShare: statistics.count / sky.isSky.length,
    histogram: statistics.histogram,
    motion,
    starWidthPx: stars.widthPx,
    starCount: stars.stars.length,
    remarks: [...remarksOf(measured, state.response), ...(state.options.remarks ?? [])],
  };
}

/** Doubt that is left in the best case: sampling of the sky, rounding of codes. */
const LEAST_DOUBT_STOPS = 0.005;
/** Share of what the ground would change that is doubted, before and after the horizon is sure. */
const MASK_DOUBT_UNSURE = 0.5;
const MASK_DOUBT_SURE = 0.05;
/** Share of what was left out as a town's glow that may have been sky after all. */
const GLOW_DOUBT = 0.5;

function uncertaintyOf({ state, evidence, sky, withoutGlow }: Measured): number {
  const { statistics, leftOutStops } = withoutGlow;
  const code = Math.max(statistics.redCode, statistics.greenCode, statistics.blueCode);
  const curve = responseUncertaintyStops(state.response, meanCode(statistics));
  const ground = sky.isWhole ? 0 : groundShare(evidence);
  const maskShare = evidence.isSure ? MASK_DOUBT_SURE : MASK_DOUBT_UNSURE;
  const mask = maskShare * -Math.log2(Math.max(0.05, 1 - ground));
  // Clipped light could have been any brighter; a doubling of it is the measure taken.
  const clipped = Math.log2(1 + worstClipped(statistics));
  // Below a few codes one code is a large part of the light. sRGB's quantum: 3.46 / (code + 14).
  const dark = statistics.mean <= DARKEST_LIGHT * 2 ? 3 : code < 8 ? 1.5 / (code + 0.5) : 0;
  return Math.hypot(LEAST_DOUBT_STOPS, curve, mask, clipped, dark, GLOW_DOUBT * leftOutStops);
}

function worstClipped({ clippedShare: { red, green, blue } }: SkyStatistics): number {
  return Math.max(red, green, blue);
}

function meanCode({ redCode, greenCode, blueCode }: SkyStatistics): number {
  return 0.2126 * redCode + 0.7152 * greenCode + 0.0722 * blueCode;
}

/** Share of the sky at the ceiling from which it is worth a word. */
const CLIPPED_WORTH_SAYING = 0.002;

function remarksOf(
  { evidence, sky, withoutGlow }: Measured,
  response: ToneResponse,
): readonly string[] {
  const remarks: string[] = [];
  const { statistics, memory } = withoutGlow;
  if (statistics.mean <= DARKEST_LIGHT * 2) remarks.push("the frame is black");
  if (worstClipped(statistics) > 0.95)
    remarks.push("the frame is white: the sky is brighter still");
  if (!response.isSure) remarks.push(TONE_CURVE_UNSURE);
  if (!evidence.isSure) remarks.push("horizon not yet sure");
  if (sky.isWhole) remarks.push("no sky found, the whole frame was metered");
  if (sky.lights.some((light) => light.kind === "moon")) remarks.push("moon in frame, left out");
  if (sky.lights.some((light) => light.kind === "lamp")) remarks.push("lamp in frame, left out");
  if (memory.share > 0.5) remarks.push("street glow at the horizon, left out");
  const { red, green, blue } = statistics.clippedShare;
  for (const [name, share] of Object.entries({ red, green, blue })) {
    if (share > CLIPPED_WORTH_SAYING)
      remarks.push(`${name} clipped in ${percent(share)} of the sky`);
  }
  return remarks;
}

function percent(share: number): string {
  return `${(share * 100).toFixed(share < 0.1 ? 1 : 0)} %`;
}

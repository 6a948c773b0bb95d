import {
  addSample,
  meanValue,
  newestSample,
  silentAfter,
  startLightRecord,
  type LightRecord,
} from "./lightRecord.ts";

/** The sky light meter: what it said, and what is known of its scale; plain data. */
export type LightMeter = { readonly record: LightRecord; readonly scale: LightScale };

/** Scale and dark offset of the meter, learned from the frames: L = gain · value + offset. */
type LightScale = {
  /** Weighted sums over (value, luminance) pairs: Σw, Σwv, Σwv², Σwl, Σwvl. */
  readonly sums: readonly number[];
  readonly gain: number;
  readonly offset: number;
  /** By how much the line has lately said too much, stops: follows a drift faster than the line. */
  readonly biasStops: number;
  /** Longest run of equal values that is usual for this meter. */
  readonly usualRun: number;
  /** Opening of the newest frame that agreed; a jump before it has been confirmed. null: none has. */
  readonly agreedSeconds: number | null;
  /** Jumps that the frames denied: after the first, none is believed before a frame confirms it. */
  readonly lieCount: number;
  /** Frames that agreed with the meter, one after the other, since the last that did not. */
  readonly agreedCount: number;
  /** Frames that must agree before the meter is followed; grows with every lie. */
  readonly neededCount: number;
  /** Frames in a row that disagreed. */
  readonly deniedCount: number;
  /** Mean square of the disagreement, stops². */
  readonly doubt: number;
};

/** Why the meter is followed or not. */
export type LightMeterTrust =
  | { readonly kind: "followed" }
  | {
      readonly kind: "ignored";
      readonly why: "no samples" | "learning" | "jammed" | "silent" | "disagrees" | "jumped";
    };

/** Equal values in a row that are a jam: so many, or so many times what is usual for this meter. */
const JAM_COUNT = 5;
const JAM_TIMES = 3;
/** Share of a new disagreement that goes into the bias. */
const BIAS_PULL = 0.2;
/** Agreement within this: a fifth of a stop. */
const AGREE_STOPS = 0.2;
const NEEDED_FIRST = 3;
const NEEDED_MAX = 24;
/** So many denials in a row mean that the meter's scale has changed: it is learned again. */
const RELEARN_COUNT = 6;
/** Each pair counts this much less with every later one. */
const MEMORY = 0.97;
/** Until learned, the offset is believed to lie within a tenth of a dark sky (cd/m²). */
const OFFSET_CD_M2 = 0.1 * 2.5e-4;
/** Relative error of a frame's luminance against which that belief is weighed. */
const FRAME_ERROR = 0.02;

export function startLightMeter(): LightMeter {
  return { record: startLightRecord(), scale: UNKNOWN_SCALE };
}

const UNKNOWN_SCALE: LightScale = {
  sums: [0, 0, 0, 0, 0],
  gain: 0,
  offset: 0,
  biasStops: 0,
  usualRun: 0,
  agreedSeconds: null,
  lieCount: 0,
  agreedCount: 0,
  neededCount: NEEDED_FIRST,
  deniedCount: 0,
  doubt: 0,
};

/** Takes in a sample; one that is not finite or not later than the newest is dropped. */
export function addLight(
  meter: LightMeter,
  sample: { readonly atSeconds: number; readonly value: number },
): LightMeter {
  const record = addSample(meter.record, sample);
  return record === meter.record ? meter : { record, scale: meter.scale };
}

/** Mean luminance between two moments as the meter says, cd/m²; null when it cannot say. */
export function lightBetween(
  { record, scale }: LightMeter,
  fromSeconds: number,
  toSeconds: number,
): number | null {
  const value = meanValue(record, fromSeconds, toSeconds);
  if (value === null || scale.gain <= 0) return null;
  const light = luminanceOf(scale, value);
  return light > 0 ? light : null;
}

function luminanceOf({ gain, offset, biasStops }: LightScale, value: number): number {
  return (gain * value + offset) * 2 ** -biasStops;
}

/** How sure the meter's word is, as one standard deviation in stops. */
export function lightNoiseStops({ scale }: LightMeter): number {
  return Math.max(0.015, Math.sqrt(scale.doubt));
}

/** Usual time between two samples, seconds. */
export function lightStepSeconds({ record }: LightMeter): number {
  return record.stepSeconds;
}

/**
 * Error of a dose that the meter closes, stops: it can only close at a sample, and its scale is
 * known to so much.
 */
export function closingErrorStops({ record, scale }: LightMeter, exposureSeconds: number): number {
  const grain = record.stepSeconds / exposureSeconds / Math.sqrt(12) / Math.LN2;
  return Math.hypot(grain, 0.015, Math.sqrt(scale.doubt) / 4);
}

/** Whether the meter may be followed at a moment. */
export function lightMeterTrust(
  { record, scale }: LightMeter,
  nowSeconds: number,
): LightMeterTrust {
  const newest = newestSample(record);
  if (newest === null) return { kind: "ignored", why: "no samples" };
  if (nowSeconds - newest.atSeconds > silentAfter(record))
    return { kind: "ignored", why: "silent" };
  if (record.sameCount >= Math.max(JAM_COUNT, JAM_TIMES * scale.usualRun)) {
    return { kind: "ignored", why: "jammed" };
  }
  if (scale.agreedCount < scale.neededCount || scale.gain <= 0) {
    const wasDenied = scale.deniedCount > 0 || scale.neededCount > NEEDED_FIRST;
    return { kind: "ignored", why: wasDenied ? "disagrees" : "learning" };
  }
  const confirmedSeconds = scale.agreedSeconds ?? -Infinity;
  const isDoubtful = scale.lieCount > 0 && (record.jumpSeconds ?? -Infinity) > confirmedSeconds;
  return isDoubtful ? { kind: "ignored", why: "jumped" } : { kind: "followed" };
}

/** A frame that the meter is compared with. */
type MeteredFrame = {
  readonly openedSeconds: number;
  readonly closedSeconds: number;
  /** log2 of the frame's mean luminance in cd/m². */
  readonly level: number;
};

/**
 * Compares the meter with a frame whose reading has come, and learns its scale from it: a robust
 * weighted least-squares line through (mean value, luminance), each pair weighted by its relative
 * error, so that dark and bright skies count alike. A frame that the meter denies by more than a
 * fifth of a stop teaches nothing and costs it the trust, until enough frames agree again; each
 * such lie doubles how many.
 */
export function calibrateLight({ record, scale }: LightMeter, frame: MeteredFrame): LightMeter {
  const value = meanValue(record, frame.openedSeconds, frame.closedSeconds);
  if (value === null) return { record, scale };
  // A value that stood still all the while says nothing, neither for the meter nor against it.
  const seconds = frame.closedSeconds - frame.openedSeconds;
  const stoodStill =
    record.sameCount >= JAM_COUNT && record.sameCount * record.stepSeconds > seconds;
  if (stoodStill) return { record, scale };
  const luminance = 2 ** frame.level;
  const said = luminanceOf(scale, value);
  const off = scale.gain <= 0 ? 0 : said > 0 ? Math.log2(said / luminance) : -Infinity;
  return {
    record: { ...record, longestRun: 0 },
    scale:
      Math.abs(off) > AGREE_STOPS
        ? denied(scale, record, frame)
        : agreed(scale, record, { ...frame, value, off }),
  };
}

function agreed(
  scale: LightScale,
  { longestRun }: LightRecord,
  frame: MeteredFrame & { readonly value: number; readonly off: number },
): LightScale {
  const { value, off, level, openedSeconds } = frame;
  const { agreedCount, neededCount } = scale;
  const faded = scale.sums.map((sum) => sum * MEMORY);
  return {
    ...scale,
    ...fit(faded, value, 2 ** level),
    // While the line is still being learned it explains everything itself.
    biasStops: agreedCount < 2 * NEEDED_FIRST ? 0 : scale.biasStops + BIAS_PULL * off,
    usualRun: Math.max(scale.usualRun, longestRun),
    agreedSeconds: openedSeconds,
    agreedCount: agreedCount + 1,
    deniedCount: 0,
    doubt: 0.9 * scale.doubt + 0.1 * off * off,
    // A long good record earns back the short probation.
    neededCount:
      agreedCount >= 4 * neededCount ? Math.max(NEEDED_FIRST, neededCount / 2) : neededCount,
  };
}

function denied(scale: LightScale, { jumpSeconds }: LightRecord, frame: MeteredFrame): LightScale {
  const deniedCount = scale.deniedCount + 1;
  if (deniedCount >= RELEARN_COUNT) {
    const { sums, gain, offset, biasStops } = UNKNOWN_SCALE;
    return { ...scale, sums, gain, offset, biasStops, deniedCount: 0, agreedCount: 0 };
  }
  const wasTrusted = scale.agreedCount >= scale.neededCount;
  const jumped = jumpSeconds !== null && jumpSeconds >= frame.openedSeconds;
  return {
    ...scale,
    lieCount: scale.lieCount + (jumped ? 1 : 0),
    deniedCount,
    agreedCount: 0,
    neededCount: wasTrusted ? Math.min(NEEDED_MAX, scale.neededCount * 2) : scale.neededCount,
  };
}

function fit(
  old: readonly number[],
  value: number,
  luminance: number,
): Pick<LightScale, "sums" | "gain" | "offset"> {
  const weight = 1 / (luminance * luminance);
  const sums = [
    old[0]! + weight,
    old[1]! + weight * value,
    old[2]! + weight * value * value,
    old[3]! + weight * luminance,
    old[4]! + weight * value * luminance,
  ];
  const [w, wv, wvv, wl, wvl] = sums as [number, number, number, number, number];
  // Ridge on the offset, so that a sky that has not changed yet cannot invent one.
  const ridge = (FRAME_ERROR / OFFSET_CD_M2) ** 2;
  const a = w + ridge;
  const determinant = a * wvv - wv * wv;
  if (!(determinant > 0) || !(wvv > 0)) {
    return { sums, gain: value > 0 ? luminance / value : 0, offset: 0 };
  }
  const gain = (a * wvl - wv * wl) / determinant;
  const offset = (wvv * wl - wv * wvl) / determinant;
  return { sums, gain, offset };
}

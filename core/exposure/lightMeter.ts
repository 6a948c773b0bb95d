/** One sample of the sky light meter, with the running integral of its value. */
type LightSample = {
  readonly atSeconds: number;
  readonly value: number;
  /** ∫ value dt since the meter's first sample, trapezoids. */
  readonly sum: number;
};

/**
 * What is known of the sky light meter; plain data. Its scale and its dark offset are learned
 * from the frames: L = gain · value + offset.
 */
export type LightMeter = {
  /** Samples of the last minute and a half, oldest first: full blocks, then the newest samples. */
  readonly blocks: readonly (readonly LightSample[])[];
  readonly tail: readonly LightSample[];
  /** Since when the samples have come without a break. */
  readonly unbrokenSeconds: number;
  /** Usual time between samples, seconds. */
  readonly stepSeconds: number;
  /** For how many samples the value has not changed at all. */
  readonly sameCount: number;
  /** Longest run of equal values since the newest frame was compared, and what is usual. */
  readonly longestRun: number;
  readonly usualRun: number;
  /** When the value last jumped as no sky does by itself; null: never. */
  readonly jumpSeconds: number | null;
  /** Opening of the newest frame that agreed; a jump before it has been confirmed. null: none has. */
  readonly agreedSeconds: number | null;
  /** Jumps that the frames denied: after the first, none is believed before a frame confirms it. */
  readonly lieCount: number;
  /** Weighted sums over (value, luminance) pairs: Σw, Σwv, Σwv², Σwl, Σwvl. */
  readonly sums: readonly number[];
  readonly gain: number;
  readonly offset: number;
  /** By how much the line has lately said too much, stops: follows a drift faster than the line. */
  readonly biasStops: number;
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

const BLOCK = 32;
const KEEP_SECONDS = 90;
/** Equal values in a row that are a jam: so many, or so many times what is usual for this meter. */
const JAM_COUNT = 5;
const JAM_TIMES = 3;
/** A change by more than this from one sample to the next is a jump, stops. */
const JUMP_STOPS = 0.5;
const JUMP_SECONDS_MAX = 0.5;
/** Share of a new disagreement that goes into the bias. */
const BIAS_PULL = 0.2;
/** Agreement within this: a fifth of a stop. */
const AGREE_STOPS = 0.2;
const NEEDED_FIRST = 3;
const NEEDED_MAX = 24;
/** So many denials in a row mean that the meter's scale has changed: it is learned anew. */
const RELEARN_COUNT = 6;
/** Each pair counts this much less with every later one. */
const MEMORY = 0.97;
/** Until learned, the offset is believed to lie within a tenth of a dark sky (cd/m²). */
const OFFSET_CD_M2 = 0.1 * 2.5e-4;
/** Relative error of a frame's luminance against which that belief is weighed. */
const FRAME_ERROR = 0.02;

export function startLightMeter(): LightMeter {
  return {
    blocks: [],
    tail: [],
    unbrokenSeconds: 0,
    stepSeconds: 0,
    sameCount: 0,
    longestRun: 0,
    usualRun: 0,
    jumpSeconds: null,
    agreedSeconds: null,
    lieCount: 0,
    sums: [0, 0, 0, 0, 0],
    gain: 0,
    offset: 0,
    biasStops: 0,
    agreedCount: 0,
    neededCount: NEEDED_FIRST,
    deniedCount: 0,
    doubt: 0,
  };
}

function newestOf(meter: LightMeter): LightSample | null {
  return meter.tail[meter.tail.length - 1] ?? null;
}

/** Takes in a sample; one that is not finite, negative, or not later than the newest is dropped. */
export function addLight(
  meter: LightMeter,
  sample: { readonly atSeconds: number; readonly value: number },
): LightMeter {
  const { atSeconds, value } = sample;
  const newest = newestOf(meter);
  if (!Number.isFinite(value) || !Number.isFinite(atSeconds)) return meter;
  if (newest !== null && atSeconds <= newest.atSeconds) return meter;
  const step = newest === null ? 0 : atSeconds - newest.atSeconds;
  const sum = newest === null ? 0 : newest.sum + ((newest.value + value) / 2) * step;
  const added: LightSample = { atSeconds, value, sum };
  const isFull = meter.tail.length >= BLOCK;
  const isBroken = newest === null || step > silentAfter(meter);
  const isSame = newest !== null && newest.value === value;
  const sameCount = isSame ? meter.sameCount + 1 : 0;
  const jumps =
    newest !== null && step <= JUMP_SECONDS_MAX && isJump(newest.value, value, JUMP_STOPS);
  return {
    ...meter,
    blocks: isFull ? blocksAfter(meter, atSeconds) : meter.blocks,
    tail: isFull ? [added] : meter.tail.concat(added),
    unbrokenSeconds: isBroken ? atSeconds : meter.unbrokenSeconds,
    stepSeconds: stepAfter(meter, step, isBroken),
    sameCount,
    longestRun: Math.max(meter.longestRun, sameCount),
    jumpSeconds: jumps ? atSeconds : meter.jumpSeconds,
  };
}

function blocksAfter({ blocks, tail }: LightMeter, atSeconds: number): LightMeter["blocks"] {
  const second = blocks[1]?.[0];
  const drops = second !== undefined && second.atSeconds < atSeconds - KEEP_SECONDS;
  return [...(drops ? blocks.slice(1) : blocks), tail];
}

function stepAfter({ stepSeconds }: LightMeter, step: number, isBroken: boolean): number {
  if (stepSeconds === 0) return step;
  return isBroken ? stepSeconds : stepSeconds + 0.1 * (step - stepSeconds);
}

function isJump(before: number, after: number, stops: number): boolean {
  const ratio = 2 ** stops;
  return before > 0 && after > 0 && (after > before * ratio || before > after * ratio);
}

/** ∫ value dt from the meter's first sample to a moment; null outside of what is remembered. */
function sumAt(meter: LightMeter, atSeconds: number): number | null {
  const newest = newestOf(meter);
  const oldest = meter.blocks[0]?.[0] ?? meter.tail[0];
  if (newest === null || oldest === undefined || atSeconds < oldest.atSeconds) return null;
  if (atSeconds >= newest.atSeconds) {
    const since = atSeconds - newest.atSeconds;
    return since > silentAfter(meter) ? null : newest.sum + newest.value * since;
  }
  let block = meter.blocks.length;
  let samples = meter.tail;
  let next: LightSample | undefined;
  while (block > 0 && samples[0]!.atSeconds > atSeconds) {
    block -= 1;
    next = samples[0];
    samples = meter.blocks[block]!;
  }
  let index = samples.length - 1;
  while (index > 0 && samples[index]!.atSeconds > atSeconds) index -= 1;
  const before = samples[index]!;
  const after = samples[index + 1] ?? next;
  if (after === undefined) return before.sum;
  const part = (atSeconds - before.atSeconds) / (after.atSeconds - before.atSeconds);
  const value = before.value + part * (after.value - before.value);
  return before.sum + ((before.value + value) / 2) * (atSeconds - before.atSeconds);
}

function silentAfter({ stepSeconds }: LightMeter): number {
  return stepSeconds === 0 ? Infinity : Math.max(0.5, 4 * stepSeconds);
}

/** Mean value between two moments; null when the meter was silent in it or at its ends. */
function meanValue(meter: LightMeter, fromSeconds: number, toSeconds: number): number | null {
  if (fromSeconds < meter.unbrokenSeconds) return null;
  const from = sumAt(meter, fromSeconds);
  const to = sumAt(meter, toSeconds);
  if (from === null || to === null || !(toSeconds > fromSeconds)) return null;
  return (to - from) / (toSeconds - fromSeconds);
}

/** Mean luminance between two moments as the meter says, cd/m²; null when it cannot say. */
export function lightBetween(
  meter: LightMeter,
  fromSeconds: number,
  toSeconds: number,
): number | null {
  const value = meanValue(meter, fromSeconds, toSeconds);
  if (value === null || meter.gain <= 0) return null;
  const light = (meter.gain * value + meter.offset) * 2 ** -meter.biasStops;
  return light > 0 ? light : null;
}

/**
 * Error of a dose that the meter closes, stops: it can only close at a sample, and its scale is
 * known to so much.
 */
export function closingErrorStops(meter: LightMeter, exposureSeconds: number): number {
  const grain = meter.stepSeconds / exposureSeconds / Math.sqrt(12) / Math.LN2;
  return Math.hypot(grain, 0.015, Math.sqrt(meter.doubt) / 4);
}

/** Whether the meter may be followed at a moment. */
export function lightMeterTrust(meter: LightMeter, nowSeconds: number): LightMeterTrust {
  const newest = newestOf(meter);
  if (newest === null) return { kind: "ignored", why: "no samples" };
  if (nowSeconds - newest.atSeconds > silentAfter(meter)) return { kind: "ignored", why: "silent" };
  if (meter.sameCount >= Math.max(JAM_COUNT, JAM_TIMES * meter.usualRun))
    return { kind: "ignored", why: "jammed" };
  if (meter.deniedCount > 0 || meter.neededCount > NEEDED_FIRST) {
    if (meter.agreedCount < meter.neededCount) return { kind: "ignored", why: "disagrees" };
  }
  if (meter.gain <= 0 || meter.agreedCount < meter.neededCount) {
    return { kind: "ignored", why: "learning" };
  }
  if (
    meter.lieCount > 0 &&
    meter.jumpSeconds !== null &&
    meter.jumpSeconds > (meter.agreedSeconds ?? -Infinity)
  ) {
    return { kind: "ignored", why: "jumped" };
  }
  return { kind: "followed" };
}

/**
 * Compares the meter with a frame whose reading has come, and learns its scale from it: a robust
 * weighted least-squares line through (mean value, luminance), each pair weighted by its relative
 * error, so that dark and bright skies count alike. A frame that the meter denies by more than a
 * fifth of a stop teaches nothing and costs it the trust, until enough frames agree again; each
 * such lie doubles how many.
 *
 * @param frame.level  log2 of the frame's mean luminance in cd/m².
 */
export function calibrateLight(
  meter: LightMeter,
  frame: { readonly openedSeconds: number; readonly closedSeconds: number; readonly level: number },
): LightMeter {
  const value = meanValue(meter, frame.openedSeconds, frame.closedSeconds);
  if (value === null) return meter;
  // A value that stood still all the while says nothing, neither for the meter nor against it.
  const seconds = frame.closedSeconds - frame.openedSeconds;
  if (meter.sameCount >= JAM_COUNT && meter.sameCount * meter.stepSeconds > seconds) return meter;
  const luminance = 2 ** frame.level;
  const said = (meter.gain * value + meter.offset) * 2 ** -meter.biasStops;
  const off = meter.gain > 0 && said > 0 ? Math.log2(said / luminance) : meter.gain > 0 ? -9 : 0;
  if (Math.abs(off) > AGREE_STOPS) return denied(meter, frame);
  const learned = fit(
    meter.sums.map((sum) => sum * MEMORY),
    value,
    luminance,
  );
  return {
    ...meter,
    ...learned,
    biasStops: biasAfter(meter, off),
    usualRun: Math.max(meter.usualRun, meter.longestRun),
    longestRun: 0,
    agreedSeconds: frame.openedSeconds,
    agreedCount: meter.agreedCount + 1,
    deniedCount: 0,
    doubt: 0.9 * meter.doubt + 0.1 * off * off,
    // A long good record earns back the short probation.
    neededCount:
      meter.agreedCount >= 4 * meter.neededCount
        ? Math.max(NEEDED_FIRST, meter.neededCount / 2)
        : meter.neededCount,
  };
}

/** While the line is still being learned it explains everything itself. */
function biasAfter({ agreedCount, biasStops }: LightMeter, off: number): number {
  return agreedCount < 2 * NEEDED_FIRST ? 0 : biasStops + BIAS_PULL * off;
}

function denied(meter: LightMeter, frame: { readonly openedSeconds: number }): LightMeter {
  const deniedCount = meter.deniedCount + 1;
  if (deniedCount >= RELEARN_COUNT) {
    const { sums, gain, offset } = startLightMeter();
    return { ...meter, sums, gain, offset, biasStops: 0, deniedCount: 0, agreedCount: 0 };
  }
  const wasTrusted = meter.agreedCount >= meter.neededCount;
  const lied = meter.jumpSeconds !== null && meter.jumpSeconds >= frame.openedSeconds;
  return {
    ...meter,
    lieCount: meter.lieCount + (lied ? 1 : 0),
    longestRun: 0,
    deniedCount,
    agreedCount: 0,
    neededCount: wasTrusted ? Math.min(NEEDED_MAX, meter.neededCount * 2) : meter.neededCount,
  };
}

function fit(
  old: readonly number[],
  value: number,
  luminance: number,
): Pick<LightMeter, "sums" | "gain" | "offset"> {
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

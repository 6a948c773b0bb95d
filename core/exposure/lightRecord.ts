/** One sample of the sky light meter, with the running integral of its value. */
type LightSample = {
  readonly atSeconds: number;
  readonly value: number;
  /** ∫ value dt since the meter's first sample, trapezoids. */
  readonly sum: number;
};

/** What the sky light meter has said in the last minute and a half; plain data. */
export type LightRecord = {
  /** Samples, oldest first: full blocks, then the newest samples. */
  readonly blocks: readonly (readonly LightSample[])[];
  readonly tail: readonly LightSample[];
  /** Since when the samples have come without a break. */
  readonly unbrokenSeconds: number;
  /** Usual time between samples, seconds. */
  readonly stepSeconds: number;
  /** For how many samples the value has not changed at all, now and at most since it was asked. */
  readonly sameCount: number;
  readonly longestRun: number;
  /** When the value last jumped as no sky does by itself; null: never. */
  readonly jumpSeconds: number | null;
};

const BLOCK = 32;
const KEEP_SECONDS = 90;
/** A change by more than this from one sample to the next is a jump, stops. */
const JUMP_STOPS = 0.5;
const JUMP_SECONDS_MAX = 0.5;

export function startLightRecord(): LightRecord {
  return {
    blocks: [],
    tail: [],
    unbrokenSeconds: 0,
    stepSeconds: 0,
    sameCount: 0,
    longestRun: 0,
    jumpSeconds: null,
  };
}

/** @returns null before the first sample. */
export function newestSample({ tail }: LightRecord): LightSample | null {
  return tail[tail.length - 1] ?? null;
}

/** Takes in a sample; one that is not finite, negative, or not later than the newest is dropped. */
export function addSample(
  record: LightRecord,
  sample: { readonly atSeconds: number; readonly value: number },
): LightRecord {
  const { atSeconds, value } = sample;
  const newest = newestSample(record);
  if (!Number.isFinite(value) || !Number.isFinite(atSeconds)) return record;
  if (newest !== null && atSeconds <= newest.atSeconds) return record;
  const step = newest === null ? 0 : atSeconds - newest.atSeconds;
  const sum = newest === null ? 0 : newest.sum + ((newest.value + value) / 2) * step;
  const added: LightSample = { atSeconds, value, sum };
  const isFull = record.tail.length >= BLOCK;
  const isBroken = newest === null || step > silentAfter(record);
  const isSame = newest !== null && newest.value === value;
  const sameCount = isSame ? record.sameCount + 1 : 0;
  const jumps =
    newest !== null && step <= JUMP_SECONDS_MAX && isJump(newest.value, value, JUMP_STOPS);
  return {
    blocks: isFull ? blocksAfter(record, atSeconds) : record.blocks,
    tail: isFull ? [added] : withOneMore(record.tail, added),
    unbrokenSeconds: isBroken ? atSeconds : record.unbrokenSeconds,
    stepSeconds: stepAfter(record, step, isBroken),
    sameCount,
    longestRun: Math.max(record.longestRun, sameCount),
    jumpSeconds: jumps ? atSeconds : record.jumpSeconds,
  };
}

/** A copy with one more: several times faster than spreading, ten times a second all night. */
function withOneMore(tail: readonly LightSample[], added: LightSample): readonly LightSample[] {
  const longer = tail.slice();
  longer.push(added);
  return longer;
}

function blocksAfter({ blocks, tail }: LightRecord, atSeconds: number): LightRecord["blocks"] {
  const second = blocks[1]?.[0];
  const drops = second !== undefined && second.atSeconds < atSeconds - KEEP_SECONDS;
  return [...(drops ? blocks.slice(1) : blocks), tail];
}

function stepAfter({ stepSeconds }: LightRecord, step: number, isBroken: boolean): number {
  if (stepSeconds === 0) return step;
  return isBroken ? stepSeconds : stepSeconds + 0.1 * (step - stepSeconds);
}

function isJump(before: number, after: number, stops: number): boolean {
  const ratio = 2 ** stops;
  return before > 0 && after > 0 && (after > before * ratio || before > after * ratio);
}

/** ∫ value dt from the meter's first sample to a moment; null outside of what is remembered. */
function sumAt(record: LightRecord, atSeconds: number): number | null {
  const newest = newestSample(record);
  const oldest = record.blocks[0]?.[0] ?? record.tail[0];
  if (newest === null || oldest === undefined || atSeconds < oldest.atSeconds) return null;
  if (atSeconds >= newest.atSeconds) {
    const since = atSeconds - newest.atSeconds;
    return since > silentAfter(record) ? null : newest.sum + newest.value * since;
  }
  let block = record.blocks.length;
  let samples = record.tail;
  let next: LightSample | undefined;
  while (block > 0 && samples[0]!.atSeconds > atSeconds) {
    block -= 1;
    next = samples[0];
    samples = record.blocks[block]!;
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

/** A meter that says nothing for longer than this, seconds, is silent. */
export function silentAfter({ stepSeconds }: LightRecord): number {
  return stepSeconds === 0 ? Infinity : Math.max(0.5, 4 * stepSeconds);
}

/** Mean value between two moments; null when the meter was silent in it or at its ends. */
export function meanValue(
  record: LightRecord,
  fromSeconds: number,
  toSeconds: number,
): number | null {
  if (fromSeconds < record.unbrokenSeconds) return null;
  const from = sumAt(record, fromSeconds);
  const to = sumAt(record, toSeconds);
  if (from === null || to === null || !(toSeconds > fromSeconds)) return null;
  return (to - from) / (toSeconds - fromSeconds);
}

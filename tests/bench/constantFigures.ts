import { DEFAULT_EXPOSURE_SETTINGS } from "../../core/exposure/settings.ts";
import { meterFrame, startMeter } from "../../core/photometry/meter.ts";
import { createRandom } from "../../core/random.ts";
import { medianOf } from "../../core/statistics.ts";
import { monotonicMs } from "../../core/units.ts";
import { guardFromStars } from "../../core/watch/guards.ts";
import { idleWatch } from "../../core/watch/idleWatch.ts";
import { scoreRule, SUITE } from "../skies/suite.ts";
import { paintedSky, paintFrame, sRgbCurve } from "../support/paintedSky.ts";
import { aReading } from "../support/watchFixtures.ts";

/** What a change of a constant is judged by, each a few numbers by what they are. */
export const FIGURES = { motion, stars, storm };
export type ConstantFigures = typeof FIGURES;

/** A storm whose highlights are protected. */
function storm() {
  const row = SUITE.find(({ kind }) => kind === "storm")!;
  const settings = { ...DEFAULT_EXPOSURE_SETTINGS, targetStops: 0 };
  const { timing, lightMeter } = STORM_CONDITIONS;
  const score = scoreRule("governor", row, 1, { settings, timing, lightMeter });
  return {
    "error, stops": score.rmsErrorStops,
    "step from frame to frame, stops": score.rmsStepStops,
    "clipped frames": score.clippedFrames,
  };
}

const STORM_CONDITIONS = {
  timing: { busySeconds: 1, readingDelaySeconds: 0.8, meterNoiseStops: 0.02 },
  lightMeter: null,
};

const SPEEDS_DEG_PER_SECOND = [0.02, 0.06, 0.15, 0.5];
const SPACINGS_SECONDS = [2, 5, 12];
const FRAMES = 6;
const SIZE = { widthPx: 300, heightPx: 200 };

/** Painted curtains that drift by, strong ones and faint ones, and such as stand still. */
function motion() {
  const found = SPEEDS_DEG_PER_SECOND.flatMap((speed) =>
    SPACINGS_SECONDS.flatMap((spacing) =>
      [2, 0.15].flatMap((contrast) =>
        measuredSpeeds(speed, spacing, contrast).map((measured) => measured / speed),
      ),
    ),
  );
  const still = SPACINGS_SECONDS.flatMap((spacing) => measuredSpeeds(0, spacing, 2));
  const errors = found.map((ratio) => Math.log2(ratio));
  return {
    "frames measured": found.length,
    "off by over 25 %": found.filter((ratio) => ratio < 0.75 || ratio > 1.25).length,
    "error, stops": Math.sqrt(errors.reduce((sum, one) => sum + one ** 2, 0) / errors.length),
    "false speeds where nothing moves": still.filter((speed) => speed > 0.012).length,
  };
}

/** Speeds of the frames in which one was measured, degrees a second. */
function measuredSpeeds(driftDegPerSecond: number, spacing: number, contrast: number): number[] {
  const random = createRandom(`curtains ${driftDegPerSecond} ${spacing} ${contrast}`);
  const look = { ...SIZE, degPerPx: 0.43, driftDegPerSecond, contrast: () => contrast };
  const sky = paintedSky(random, look);
  let state = startMeter({ focalLengthMm: 16, pixelPitchUm: 6, fullWidthPx: 6000 });
  return Array.from({ length: FRAMES }, (_, index) => index * spacing).flatMap((startSeconds) => {
    const exposure = { exposureSeconds: Math.max(0.8, spacing - 2), iso: 1600, fNumber: 2.8 };
    const painted = { sky, startSeconds, exposure, exposureStops: 0, curve: sRgbCurve, random };
    const { rgb } = paintFrame(painted);
    const frame = { ...SIZE, rgb, exposure, openedMs: monotonicMs(startSeconds * 1000) };
    const { reading, state: next } = meterFrame(state, frame);
    state = next;
    return reading.motion.kind === "measured" ? [reading.motion.degPerSecond] : [];
  });
}

const NIGHTS = 200;
const NIGHT_FRAMES = 400;
const ONSET_FRAME = 200;
/** Over so many frames the stars become twice as wide. */
const SOFTENING_FRAMES = 120;

/** Made-up nights of stars: sharp ones, lenses that dew over, and such as lose their focus. */
function stars() {
  const nights = (kind: NightKind, count: number) =>
    Array.from({ length: NIGHTS }, (_, seed) => starNight(kind, count, seed));
  const [sharp, poor] = [nights("sharp", 80), nights("sharp", 15)];
  const [dewy, moved] = [nights("dew", 80), nights("focus", 80)];
  const isFound = ({ frame }: Alarm): boolean => frame !== null && frame >= ONSET_FRAME;
  const frames = moved.filter(isFound).map(({ frame }) => frame! - ONSET_FRAME);
  return {
    "false alarms": sharp.filter(({ frame }) => frame !== null).length,
    "false alarms with few stars": poor.filter(({ frame }) => frame !== null).length,
    "lost focuses found": frames.length,
    "frames until then": medianOf(frames),
    "lost focuses named rightly": moved.filter(({ guard }) => guard === "focus").length,
    "dews named rightly": dewy.filter(({ guard }) => guard === "dew").length,
  };
}

type NightKind = "sharp" | "dew" | "focus";
type Alarm = { readonly frame: number | null; readonly guard: string | null };

/** The first alarm of a night whose star widths scatter by 5 % about a drift of 3 %, with clouds. */
function starNight(kind: NightKind, usualCount: number, seed: number): Alarm {
  const random = createRandom(`stars ${kind} ${usualCount} ${seed}`);
  let { known } = idleWatch();
  let cloudFrames = 0;
  for (let frame = 0; frame < NIGHT_FRAMES; frame += 1) {
    const isNewCloud = cloudFrames === 0 && random.uniform() < 0.01;
    cloudFrames = isNewCloud ? 1 + random.integer(5) : Math.max(0, cloudFrames - 1);
    const soft = kind === "sharp" ? 0 : Math.max(0, (frame - ONSET_FRAME) / SOFTENING_FRAMES);
    const drift = 1 + 0.03 * Math.sin((2 * Math.PI * frame) / NIGHT_FRAMES);
    const cloud = cloudFrames > 0 ? { width: 1.5, count: 0.4 } : { width: 1, count: 1 };
    const width = 2.5 * drift * (1 + Math.min(1, soft)) * cloud.width;
    const left = kind === "dew" ? 0.7 : 0.3;
    const count = usualCount * (1 - left * Math.min(1, soft)) * cloud.count;
    const reading = aReading({
      starWidthPx: width * (1 + 0.05 * random.normal()),
      starCount: Math.round(count * (1 + 0.1 * random.normal())),
    });
    known = guardFromStars(known, reading, monotonicMs(frame * 16_000));
    const alarm = known.guards.find(({ guard, level }) => guard !== "cold" && level === "warning");
    if (alarm) return { frame, guard: alarm.guard };
  }
  return { frame: null, guard: null };
}

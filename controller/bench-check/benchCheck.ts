import { asNightError, NightError, type ErrorCode } from "../../core/errors.ts";
import { OPERATIONS } from "../../core/ptp/operations.ts";
import type { DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import type { Scheduling } from "../../core/words/timingWords.ts";
import type { CameraControls } from "../cameras/standardControls.ts";
import { introduce } from "../cameras/introduce.ts";
import type { Transport } from "../cameras/transport.ts";
import {
  createClock,
  pauseFor,
  REAL_TIME,
  realMs,
  type Clock,
  type ClockOrigin,
} from "../timing/clock.ts";
import { CameraLink, type CameraLinkOptions } from "../shutter/cameraLink.ts";
import { describeCamera } from "../shutter/describeCamera.ts";
import {
  excessOf,
  hasHelped,
  spreadOf,
  type BenchFigures,
  type BenchTrouble,
} from "./benchFigures.ts";
import { checkPreview } from "./checkPreview.ts";
import { checkSettings } from "./checkSettings.ts";
import { ExposureSeries, interrupted } from "./exposureSeries.ts";

/** What is asked of bulb, seconds: each length twice, then again with the latency compensated. */
const BULB_SECONDS = [1, 2, 5, 1, 2, 5];
const COMPENSATED_SECONDS = [1, 2, 5];
/** What is asked of the camera's own timer, seconds. */
const TIMED_SECONDS = [0.5, 1];
/** How long a camera may take until it can be connected again; judgement: some take four seconds. */
const REARM_MS_MAX = 20_000;
const REARM_PAUSE_MS = 500;
/** How a camera says that it cannot be connected yet. */
const REARMING: readonly ErrorCode[] = [
  "camera.busy",
  "camera.refused",
  "camera.unreachable",
  "camera.gone",
];
const ROUND_TRIPS = 20;

export type BenchCheckOptions = {
  readonly createTransport: () => Transport;
  /** How the camera is worked, once it has said what it is. */
  readonly controlsFor: (info: DeviceInfo, usbIds: Transport["usbIds"]) => CameraControls;
  readonly origin: ClockOrigin;
  /** How the system schedules whatever will move the shutter; null: not known yet. */
  readonly scheduling: Scheduling | null;
  /** Called with what is being done, for the person who waits. */
  readonly onStep: (sentence: string) => void;
  /** How long a file may take to be named, real milliseconds. */
  readonly fileMsMax?: number;
  /** Ends the check early; the shutter is closed first. */
  readonly signal?: AbortSignal;
};

/**
 * Tries on the connected camera itself what the night will ask of it, in about a minute, and puts
 * every setting back. The lens cap may be on: nothing here looks at the pictures.
 *
 * @throws NightError when the camera cannot be reached or is lost; `camera.refused` when interrupted.
 */
export async function benchCheck(options: BenchCheckOptions): Promise<BenchFigures> {
  options.onStep("Connecting.");
  const { info, usbIds } = await introduce(options.createTransport());
  const controls = options.controlsFor(info, usbIds);
  const series = new ExposureSeries({ ...options, controls });
  const eventCounts = new Map<number, number>();
  let lost: NightError | null = null;
  const { link, place } = await connectPatiently(options, {
    controls,
    onEvent: (event) => {
      eventCounts.set(event.eventCode, (eventCounts.get(event.eventCode) ?? 0) + 1);
      series.hear(event);
    },
    onLost: (error) => (lost = error),
  });
  const goOn = (sentence: string): void => {
    if (lost) throw lost;
    if (options.signal?.aborted) throw interrupted();
    options.onStep(sentence);
  };
  try {
    const tried = await tryOut(link, {
      series,
      // What the body turned out to need is known only now.
      controls: link.controls,
      clock: createClock(options.origin),
      goOn,
    });
    const events = [...eventCounts].map(([code, count]) => ({ code, count }));
    const { scheduling } = options;
    return { ...identityOf(info), place, scheduling, ...tried, events };
  } finally {
    await series.end();
    await link.close();
  }
}

/**
 * Connects to a camera that answered a moment ago. Some take seconds until they can be connected
 * again, and until then say that another program has them.
 */
async function connectPatiently(
  { createTransport, onStep, signal }: BenchCheckOptions,
  options: Omit<CameraLinkOptions, "transport">,
): Promise<{ readonly link: CameraLink; readonly place: string }> {
  const untilMs = realMs() + REARM_MS_MAX;
  for (let attempt = 1; ; attempt += 1) {
    const transport = createTransport();
    const link = new CameraLink({ ...options, transport });
    try {
      await link.open(null);
      return { link, place: transport.place };
    } catch (thrown) {
      await link.close();
      const mayComeBack = thrown instanceof NightError && REARMING.includes(thrown.code);
      if (!mayComeBack || realMs() >= untilMs) throw thrown;
      if (signal?.aborted) throw interrupted();
      if (attempt === 1) onStep("Waiting until the camera can be connected again.");
      await pauseFor(REAL_TIME, REARM_PAUSE_MS);
    }
  }
}

type Tools = {
  readonly series: ExposureSeries;
  readonly controls: CameraControls;
  readonly clock: Clock;
  /** Says what comes next, unless the check is over. */
  readonly goOn: (sentence: string) => void;
};

/** Everything that is tried, in the order in which the camera is asked for it. */
async function tryOut(link: CameraLink, { series, controls, clock, goOn }: Tools) {
  const description = await describeCamera(link, {
    cameraId: "bench-check",
    clock,
    setClock: undefined,
  });
  const { rate } = clock.origin;
  const troubles: BenchTrouble[] = [];
  /** What a step cannot find out costs that step alone. */
  const attempt = async <T>(step: string, run: () => Promise<T>, otherwise: T): Promise<T> => {
    try {
      return await run();
    } catch (thrown) {
      troubles.push({ step, sentence: costsAStep(thrown).message });
      return otherwise;
    }
  };
  const roundTripMs = spreadOf(await roundTripsOf(link))!;
  goOn("Setting and reading back.");
  const settings = await attempt(
    "settings",
    async () => await checkSettings(link, controls, description),
    [],
  );
  const readBattery = async (): Promise<number | null> =>
    await attempt("battery", async () => await link.properties.readBatteryPercent(), null);
  const beforePercent = await readBattery();
  await series.begin(link);
  const exposed = await exposeTwice(link, { series, rate, goOn });
  const byTimer = await exposeByTimer(link, { series, goOn });
  goOn("Fetching a preview and a file.");
  const handle = series.lastHandle;
  const preview =
    handle === null
      ? null
      : await attempt("preview", async () => await checkPreview(link, handle), null);
  const afterPercent = await readBattery();
  const frames = exposed.bulb.length + exposed.compensated.length + byTimer.timed.length;
  const { label, program, focus, clockOffsetMs } = description;
  const offersCapture = link.hasBulb || offersTimer(link);
  return {
    ...{ label, program, focus, clockOffsetMs, profileId: controls.profileId },
    ...{ roundTripMs, settings, ...exposed, ...byTimer, offersCapture, troubles, preview },
    battery: { beforePercent, afterPercent, frames },
  };
}

/** Bulb as the camera does it by itself, then with what it runs over taken off. */
async function exposeTwice(
  link: CameraLink,
  { series, rate, goOn }: Pick<Tools, "series" | "goOn"> & { readonly rate: number },
): Promise<Pick<BenchFigures, "bulb" | "compensated" | "bulbExcessMs" | "bulbRemark">> {
  const none = { bulb: [], compensated: [], bulbExcessMs: null };
  if (!link.hasBulb) return { ...none, bulbRemark: "the camera offers no bulb over its cable" };
  goOn("Exposing 1, 2 and 5 s, twice.");
  try {
    const bulb = await series.run(BULB_SECONDS, null);
    const { excessMs, remark: bulbRemark } = excessOf(bulb, rate);
    if (excessMs === null) return { ...none, bulb, bulbRemark };
    goOn("Exposing 1, 2 and 5 s again, latency compensated.");
    const compensated = await series.run(COMPENSATED_SECONDS, excessMs);
    if (hasHelped(bulb, compensated)) {
      return { bulb, compensated, bulbExcessMs: excessMs, bulbRemark: null };
    }
    const remark = `taking ${excessMs.toFixed(1)} ms off did not bring them nearer; the timing stays as it is`;
    return { bulb, compensated, bulbExcessMs: null, bulbRemark: remark };
  } catch (thrown) {
    return { ...none, bulbRemark: `offered and refused: ${costsAStep(thrown).message}` };
  }
}

/** Exposures by the camera's own timer, whatever became of bulb. */
async function exposeByTimer(
  link: CameraLink,
  { series, goOn }: Pick<Tools, "series" | "goOn">,
): Promise<Pick<BenchFigures, "timed" | "timedRemark">> {
  if (link.exposureLadderSeconds.length === 0) {
    const timedRemark = offersTimer(link)
      ? "offered, with an exposure time that Nattvakt cannot know"
      : "the camera offers no exposures by its own timer";
    return { timed: [], timedRemark };
  }
  goOn("Exposing by the camera's own timer.");
  try {
    return { timed: await series.runTimed(TIMED_SECONDS), timedRemark: null };
  } catch (thrown) {
    return { timed: [], timedRemark: `offered and refused: ${costsAStep(thrown).message}` };
  }
}

function offersTimer(link: CameraLink): boolean {
  return link.controls.timedSteps !== null || link.can(OPERATIONS.InitiateCapture.code);
}

/** @throws what ends the whole check: a lost link, a bug, or an interruption. */
function costsAStep(thrown: unknown): NightError {
  const isInterruption = thrown instanceof NightError && thrown.code === "camera.refused";
  const error = asNightError(thrown);
  if (isInterruption || error.code === "camera.gone" || error.code === "invariant.violated") {
    throw thrown;
  }
  return error;
}

async function roundTripsOf(link: CameraLink): Promise<readonly number[]> {
  const times: number[] = [];
  for (let index = 0; index < ROUND_TRIPS; index += 1) {
    const startMs = realMs();
    await link.session.getStorageIds();
    times.push(realMs() - startMs);
  }
  return times;
}

function identityOf(info: DeviceInfo) {
  const { model, serialNumber, vendorExtensionId, deviceVersion: firmware } = info;
  return { model, serialNumber, vendorExtensionId, firmware };
}

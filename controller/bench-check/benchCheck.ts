import type { NightError } from "../../core/errors.ts";
import type { DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import type { Scheduling } from "../../core/words/timingWords.ts";
import type { CameraControls } from "../cameras/cameraControls.ts";
import { introduce } from "../cameras/introduce.ts";
import type { Transport } from "../cameras/transport.ts";
import { createClock, realMs, type Clock, type ClockOrigin } from "../timing/clock.ts";
import { CameraLink } from "../shutter/cameraLink.ts";
import { describeCamera } from "../shutter/describeCamera.ts";
import { excessOf, spreadOf, type BenchFigures } from "./benchFigures.ts";
import { checkPreview } from "./checkPreview.ts";
import { checkSettings } from "./checkSettings.ts";
import { ExposureSeries, interrupted } from "./exposureSeries.ts";

/** What is asked of bulb, seconds: each length twice, then again with the latency compensated. */
const BULB_SECONDS = [1, 2, 5, 1, 2, 5];
const COMPENSATED_SECONDS = [1, 2, 5];
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
  const transport = options.createTransport();
  const series = new ExposureSeries({ ...options, controls });
  const eventCounts = new Map<number, number>();
  let lost: NightError | null = null;
  const link = new CameraLink({
    transport,
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
    await link.open(null);
    const tried = await tryOut(link, {
      series,
      controls,
      clock: createClock(options.origin),
      goOn,
    });
    const events = [...eventCounts].map(([code, count]) => ({ code, count }));
    const { scheduling } = options;
    return { ...identityOf(info), place: transport.place, scheduling, ...tried, events };
  } finally {
    await series.end();
    await link.close();
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
  const roundTripMs = spreadOf(await roundTripsOf(link))!;
  goOn("Setting and reading back.");
  const settings = await checkSettings(link, controls, description);
  const beforePercent = await link.properties.readBatteryPercent();
  await series.begin(link);
  const exposed = await exposeTwice(link, { series, rate, goOn });
  goOn("Fetching a preview and a file.");
  const handle = series.lastHandle;
  const preview = handle === null ? null : await checkPreview(link, handle);
  const afterPercent = await link.properties.readBatteryPercent();
  const frames = exposed.bulb.length + exposed.compensated.length;
  const { label, program, focus, clockOffsetMs } = description;
  return {
    ...{ label, program, focus, clockOffsetMs, profileId: controls.profileId },
    ...{ roundTripMs, settings, ...exposed, preview },
    battery: { beforePercent, afterPercent, frames },
  };
}

/** Bulb as the camera does it by itself, then with what it runs over taken off. */
async function exposeTwice(
  link: CameraLink,
  { series, rate, goOn }: Pick<Tools, "series" | "goOn"> & { readonly rate: number },
): Promise<Pick<BenchFigures, "bulb" | "compensated" | "bulbExcessMs" | "bulbRemark">> {
  goOn("Exposing 1, 2 and 5 s, twice.");
  if (!link.hasBulb) {
    const bulbRemark = "the camera offers no bulb over its cable";
    return { bulb: [], compensated: [], bulbExcessMs: null, bulbRemark };
  }
  const bulb = await series.run(BULB_SECONDS, null);
  const { excessMs: bulbExcessMs, remark: bulbRemark } = excessOf(bulb, rate);
  if (bulbExcessMs === null) return { bulb, compensated: [], bulbExcessMs, bulbRemark };
  goOn("Exposing 1, 2 and 5 s again, latency compensated.");
  const compensated = await series.run(COMPENSATED_SECONDS, bulbExcessMs);
  return { bulb, compensated, bulbExcessMs, bulbRemark };
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

import { asNightError, NightError } from "../../core/errors.ts";
import type { DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import type { CameraControls, NumberControl } from "../cameras/cameraControls.ts";
import { PtpSession } from "../cameras/ptpSession.ts";
import type { Transport } from "../cameras/transport.ts";
import { realMs, type ClockOrigin } from "../clock.ts";
import { CameraLink } from "../shutter/cameraLink.ts";
import { excessOf, spreadOf, type BenchFigures, type SettingFigures } from "./benchFigures.ts";
import { checkPreview } from "./checkPreview.ts";
import { ExposureSeries } from "./exposureSeries.ts";

/** What is asked of bulb, seconds: each length twice, then again with the latency compensated. */
const BULB_SECONDS = [1, 2, 5, 1, 2, 5];
const COMPENSATED_SECONDS = [1, 2, 5];
const OPEN_MS = 8_000;
const ROUND_TRIPS = 20;
/** Values of a ladder that are tried: its ends and its middle. */
const LADDER_SHARES = [0, 0.5, 1];

export type BenchCheckOptions = {
  readonly createTransport: () => Transport;
  /** How the camera is worked, once it has said what it is. */
  readonly controlsFor: (info: DeviceInfo, usbIds: Transport["usbIds"]) => CameraControls;
  readonly origin: ClockOrigin;
  /** Told what is being done, for whoever waits. */
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
  const { onStep, origin } = options;
  const events = new Map<number, number>();
  onStep("Connecting.");
  const { info, usbIds } = await introduce(options.createTransport());
  const controls = options.controlsFor(info, usbIds);
  const transport = options.createTransport();
  const series = new ExposureSeries({ ...options, controls });
  let lost: NightError | null = null;
  const link = new CameraLink({
    cameraId: "bench-check",
    transport,
    controls,
    origin,
    onEvent: (event) => {
      events.set(event.eventCode, (events.get(event.eventCode) ?? 0) + 1);
      series.hear(event);
    },
    onLost: (error) => (lost = error),
  });
  const goOn = (sentence: string): void => {
    if (lost) throw lost;
    if (options.signal?.aborted) throw interrupted();
    onStep(sentence);
  };
  try {
    await link.open(null);
    const description = await link.describe();
    const roundTrips = await roundTripsOf(link);
    goOn("Setting and reading back.");
    const settings = await checkSettings(link, controls, description);
    const beforePercent = await link.readBatteryPercent();
    await series.begin(link);
    goOn("Exposing 1, 2 and 5 s, twice.");
    const bulb = link.hasBulb ? await series.run(BULB_SECONDS, null) : [];
    const { excessMs, remark } = link.hasBulb
      ? excessOf(bulb, origin.rate)
      : { excessMs: null, remark: "the camera offers no bulb over its cable" };
    if (excessMs !== null) goOn("Exposing 1, 2 and 5 s again, latency compensated.");
    const compensated = excessMs === null ? [] : await series.run(COMPENSATED_SECONDS, excessMs);
    goOn("Fetching a preview and a file.");
    const handle = series.lastHandle;
    const preview = handle === null ? null : await checkPreview(link, handle);
    return {
      label: description.label,
      profileId: controls.profileId,
      place: transport.place,
      ...identityOf(info),
      program: description.program,
      focus: description.focus,
      clockOffsetMs: description.clockOffsetMs,
      roundTripMs: spreadOf(roundTrips)!,
      settings,
      bulb,
      compensated,
      bulbExcessMs: excessMs,
      bulbRemark: remark,
      preview,
      events: [...events].map(([code, count]) => ({ code, count })),
      battery: {
        beforePercent,
        afterPercent: await link.readBatteryPercent(),
        frames: bulb.length + compensated.length,
      },
    };
  } finally {
    await series.end();
    await link.close();
  }
}

/** Asks the camera what it is, and lets go of it again. */
async function introduce(transport: Transport) {
  const session = new PtpSession(transport);
  await transport.open(OPEN_MS);
  try {
    await session.open();
    const info = await session.getDeviceInfo({ busyMsMax: 5_000 });
    return { info, usbIds: transport.usbIds };
  } finally {
    await session.close();
    await transport.close();
  }
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

type Ladders = {
  readonly isoLadder: readonly number[];
  readonly fNumberLadder: readonly number[];
  readonly exposureLadderSeconds: readonly number[];
};

async function checkSettings(
  link: CameraLink,
  controls: CameraControls,
  ladders: Ladders,
): Promise<readonly SettingFigures[]> {
  return [
    await checkSetting(link, "ISO", controls.iso, ladders.isoLadder),
    await checkSetting(link, "f-number", controls.fNumber, ladders.fNumberLadder),
    await checkSetting(link, "exposure time", controls.exposureTime, ladders.exposureLadderSeconds),
  ];
}

/** Sets the ends and the middle of a ladder, reads each back, and returns to where it was. */
async function checkSetting(
  link: CameraLink,
  name: SettingFigures["name"],
  control: NumberControl | null,
  values: readonly number[],
): Promise<SettingFigures> {
  const before = link.settingOf(control);
  const tried: { asked: number; readBack: number | null }[] = [];
  const wanted = LADDER_SHARES.flatMap(
    (share) => values[Math.round(share * (values.length - 1))] ?? [],
  );
  for (const asked of new Set(wanted)) {
    tried.push({ asked, readBack: await settled(link, control, asked) });
  }
  const isMoved = before !== null && values.length > 0;
  const isRestored = isMoved ? (await settled(link, control, before)) === before : true;
  return { name, values, tried, isRestored };
}

/** A camera that is busy for a moment is asked again. */
async function settled(
  link: CameraLink,
  control: NumberControl | null,
  wanted: number,
): Promise<number | null> {
  const untilMs = realMs() + 5_000;
  for (;;) {
    try {
      return await link.setTo(control, wanted);
    } catch (thrown) {
      if (asNightError(thrown).code !== "camera.busy" || realMs() > untilMs) throw thrown;
      await new Promise((resolve) => setTimeout(resolve, 50));
    }
  }
}

function identityOf(info: DeviceInfo) {
  const { model, serialNumber, vendorExtensionId, deviceVersion: firmware } = info;
  return { model, serialNumber, vendorExtensionId, firmware };
}

function interrupted(): NightError {
  return new NightError(
    "camera.refused",
    "The bench check was ended early; the shutter is closed.",
  );
}

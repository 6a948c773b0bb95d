import { NightError } from "../../core/errors.ts";
import { exposureIndex } from "../../core/ptp/properties.ts";
import type { CameraDescription } from "../cameras/camera.ts";
import type { Clock } from "../timing/clock.ts";
import type { CameraLink } from "./cameraLink.ts";
import { PROPERTY_FAULTS } from "./cameraProperties.ts";
import {
  isWorthSetting,
  measureClockOffset,
  trySetClock,
  type ClockSetting,
} from "./cameraTime.ts";

type DescribeOptions = {
  readonly cameraId: string;
  readonly clock: Clock;
  /** undefined: the camera's clock is left alone. */
  readonly setClock: ClockSetting | undefined;
};

/** The strings and numbers that a photographer should see; measures the camera's clock, too. */
export async function describeCamera(
  link: CameraLink,
  { cameraId, clock, setClock }: DescribeOptions,
): Promise<CameraDescription> {
  const { controls, properties, info } = link;
  const isoLadder = properties.ladder(controls.iso).filter((iso) => iso <= exposureIndex.max);
  const iso = properties.settingOf(controls.iso);
  return {
    cameraId,
    label: `${info?.manufacturer ?? ""} ${info?.model ?? ""}`.trim() || "a camera without a name",
    serialNumber: info?.serialNumber ?? "",
    profileId: controls.profileId,
    isoLadder,
    fixedIso: isoLadder.length === 0 && iso !== null && iso <= exposureIndex.max ? iso : undefined,
    fNumberLadder: properties.ladder(controls.fNumber),
    exposureLadderSeconds: link.exposureLadderSeconds,
    hasBulb: link.hasBulb,
    iso,
    fNumber: properties.settingOf(controls.fNumber),
    program: properties.stateOf(controls.program, "other"),
    remarks: remarksOn(link),
    focus: properties.stateOf(controls.focus, "automatic"),
    ...(await lookAtClock(link, clock, setClock)),
    ...(controls.toneCurve ? { toneCurve: controls.toneCurve } : {}),
    facts: {
      noiseReduction: properties.wordOf(controls.noiseReduction),
      imageFormat: properties.wordOf(controls.imageFormat),
      focalLengthMm: properties.settingOf(controls.focalLengthMm),
      imageWidthPx: properties.imageWidthPx ?? undefined,
    },
  };
}

function remarksOn({ controls, properties, remarks }: CameraLink): readonly string[] {
  const dial = properties.isAtMakersState(controls.program)
    ? ["The camera's dial stands on a position of its maker's own; it should be M or B."]
    : [];
  return [...remarks, ...dial];
}

/** A clock that cannot be read costs nothing but what it would have reported. */
async function lookAtClock(
  ...asked: Parameters<typeof compareClock>
): Promise<Pick<CameraDescription, "clockOffsetMs" | "clockWasOffMs">> {
  try {
    return await compareClock(...asked);
  } catch (thrown) {
    const isTheirs = thrown instanceof NightError && PROPERTY_FAULTS.includes(thrown.code);
    if (!isTheirs) throw thrown;
    return { clockOffsetMs: null };
  }
}

/** Measures the camera's clock; sets it first when that was asked for and it is off. */
async function compareClock(
  { controls, properties, session }: CameraLink,
  clock: Clock,
  setClock: ClockSetting | undefined,
): Promise<Pick<CameraDescription, "clockOffsetMs" | "clockWasOffMs">> {
  const described = properties.describedAs(controls.dateTime);
  if (!described) return { clockOffsetMs: null };
  const camera = { session, clock, described };
  const offsetMs = await measureClockOffset(camera);
  if (!setClock || offsetMs === null || !isWorthSetting(offsetMs, setClock)) {
    return { clockOffsetMs: offsetMs };
  }
  const wasSet = await trySetClock(camera, setClock);
  if (!wasSet) return { clockOffsetMs: offsetMs };
  return { clockOffsetMs: await measureClockOffset(camera), clockWasOffMs: offsetMs };
}

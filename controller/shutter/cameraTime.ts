import { NightError } from "../../core/errors.ts";
import type { DevicePropDesc } from "../../core/ptp/datasets/devicePropDesc.ts";
import { dateTimeUtcMs } from "../../core/ptp/dateTime.ts";
import { dateTimeProperty } from "../../core/ptp/properties.ts";
import type { PtpSession } from "../cameras/ptpSession.ts";
import { pauseFor, type Clock } from "../timing/clock.ts";

/** That a camera's clock is to be set, and to what. */
export type ClockSetting = {
  /** This computer's clock less the true time as GNSS has it, milliseconds; 0: not known. */
  readonly oursLessTrueMs: number;
};

/** A camera whose clock can be read. */
type ClockedCamera = {
  readonly session: PtpSession;
  readonly clock: Clock;
  readonly described: Extract<DevicePropDesc, { kind: "described" }>;
};

/** The camera's text ends at the second: a little over one of its seconds is waited for. */
const TICK_MS_MAX = 1_200;
const TICK_POLL_MS = 20;
/** How long a busy camera is asked for its time again. */
const BUSY = { busyMsMax: 1_000 };
/** A clock that is nearer than this is as right as a whole second can tell. */
const NEAR_MS = 1_000;

/**
 * Camera clock minus ours, night milliseconds; null: it cannot be read. Its tick is waited for. A
 * camera that does not name its zone is taken to keep this computer's.
 */
export async function measureClockOffset(camera: ClockedCamera): Promise<number | null> {
  const { session, clock, described } = camera;
  const { rate } = clock.origin;
  const untilMs = session.time.nowMs() + TICK_MS_MAX / rate;
  let last: string | null = null;
  for (;;) {
    const value = await session.getProperty(described.code, described.dataType, BUSY);
    const seen = dateTimeProperty.decode(value);
    if (seen === null) return null;
    const hasTicked = last !== null && value !== last;
    if (hasTicked || session.time.nowMs() > untilMs) {
      return dateTimeUtcMs(seen, zoneMinutes(clock.utcMs())) - clock.utcMs();
    }
    last = value as string;
    await pauseFor(session.time, TICK_POLL_MS / rate);
  }
}

export function isWorthSetting(offsetMs: number, { oursLessTrueMs }: ClockSetting): boolean {
  return Math.abs(offsetMs + oursLessTrueMs) >= NEAR_MS;
}

/**
 * Sets the camera's clock at the beginning of a second, in the zone that it names itself.
 * @returns false when the camera does not let its clock be set.
 */
export async function trySetClock(
  camera: ClockedCamera,
  { oursLessTrueMs }: ClockSetting,
): Promise<boolean> {
  const { session, clock, described } = camera;
  if (!described.isSettable) return false;
  const value = await session.getProperty(described.code, described.dataType);
  const seen = dateTimeProperty.decode(value);
  if (seen === null) return false;
  const trueNow = (): number => clock.utcMs() - oursLessTrueMs;
  await pauseFor(session.time, (1000 - (((trueNow() % 1000) + 1000) % 1000)) / clock.origin.rate);
  const nowUtcMs = Math.round(trueNow() / 1000) * 1000;
  const zone = seen.offsetMinutes ?? zoneMinutes(nowUtcMs);
  const text = dateTimeProperty.encode({
    wallMs: nowUtcMs + zone * 60_000,
    offsetMinutes: seen.offsetMinutes,
  });
  try {
    await session.setProperty(described.code, described.dataType, text);
    return true;
  } catch (thrown) {
    // A camera that refuses keeps its clock, and its offset is known all the same.
    if (thrown instanceof NightError && thrown.code === "ptp.response") return false;
    throw thrown;
  }
}

/** Minutes east of UTC that this computer keeps. */
function zoneMinutes(atUtcMs: number): number {
  return -new Date(atUtcMs).getTimezoneOffset();
}

import type { CameraControls, NumberControl } from "../cameras/standardControls.ts";
import { pauseFor } from "../timing/clock.ts";
import { BusyWait, patientPauses, whileBusy } from "../timing/whileBusy.ts";
import type { CameraLink } from "../shutter/cameraLink.ts";
import type { SettingFigures } from "./benchFigures.ts";

/** Values of a ladder that are tried: its ends and its middle. */
const LADDER_SHARES = [0, 0.5, 1];

/** How long a camera may refuse a setting because it is busy. */
const BUSY_MS_MAX = 5_000;

type Ladders = {
  readonly isoLadder: readonly number[];
  readonly fNumberLadder: readonly number[];
  readonly exposureLadderSeconds: readonly number[];
};

/** Tries every setting that the night will make, and puts each back. */
export async function checkSettings(
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
  const before = link.properties.settingOf(control);
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
  const { time } = link.session;
  return await whileBusy(() => link.properties.setTo(control, wanted), {
    wait: new BusyWait(patientPauses(link.busyPollMs), BUSY_MS_MAX, time.nowMs),
    pause: (pauseMs) => pauseFor(time, pauseMs),
  });
}

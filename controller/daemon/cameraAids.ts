import { daemonWords } from "../../core/words/daemonWords.ts";
import { NightError } from "../../core/errors.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { utcMs } from "../../core/units.ts";
import { BenchRunner } from "../bench-check/benchRunner.ts";
import type { Clock } from "../timing/clock.ts";
import { FocusAid } from "../focus/focusAid.ts";
import { FramingAid } from "../focus/framingAid.ts";
import { TrialCamera } from "../focus/trialCamera.ts";
import { pointingWords } from "../../core/words/pointingWords.ts";
import type { GivenOptics } from "../../core/photometry/optics.ts";
import type { Place } from "../../core/sky/place.ts";
import { askStars } from "../pointing/askStars.ts";
import { readFramingOf } from "../planning/frameFraming.ts";
import type { CameraOpener } from "./cameraOpener.ts";

/** What takes a camera in hand before dark. */
export type CameraAids = {
  readonly focus: FocusAid;
  readonly framing: FramingAid;
  readonly bench: BenchRunner;
};

/** @param options.skyExposure  What the sky of the moment asks for; null: not known. */
export function openAids(options: {
  readonly cameras: CameraOpener;
  readonly clock: Clock;
  readonly dataDir: string;
  readonly skyExposure: () => Exposure | null;
  /** Null: not known yet. */
  readonly place: () => Place | null;
  readonly optics: GivenOptics;
}): CameraAids {
  const { cameras, clock, dataDir, skyExposure, optics } = options;
  const openTrial = (cameraId: string) => new TrialCamera(cameras.open(cameraId), clock);
  return {
    focus: new FocusAid(openTrial, skyExposure),
    framing: new FramingAid(openTrial, readFramingOf, {
      skyExposure,
      askStars: async ({ jpeg, middleUtcMs }) => {
        const place = options.place();
        if (place === null) return { kind: "unknown", sentence: pointingWords.noPlace };
        return await askStars({ optics, jpeg, place, utcMs: middleUtcMs });
      },
    }),
    bench: new BenchRunner({
      dataDir,
      origin: clock.origin,
      utcMs: () => utcMs(Date.now()),
      transportOf: (cameraId) => cameras.transportOf(cameraId),
      schedulingOf: (cameraId) => cameras.schedulingOf(cameraId),
    }),
  };
}

/**
 * One thing at a time has a camera: the watch or one of the aids.
 *
 * @throws NightError `settings.invalid` while an aid has it.
 */
export function claimFromAids({ focus, framing, bench }: CameraAids): void {
  const holder = [
    { isOn: focus.isRunning, sentence: daemonWords.camera.hasFocusAid },
    { isOn: framing.isRunning, sentence: daemonWords.camera.hasTestFrame },
    { isOn: bench.isRunning, sentence: daemonWords.camera.hasBenchCheck },
  ].find(({ isOn }) => isOn);
  if (holder) throw new NightError("settings.invalid", holder.sentence);
}

/** Ends what is running; the cameras are released. */
export async function endAids({ focus, bench }: CameraAids): Promise<void> {
  await bench.stop();
  await focus.stop();
}

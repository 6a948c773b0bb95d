import { existsSync } from "node:fs";
import { join } from "node:path";

import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { utcMs } from "../../core/units.ts";
import { writePicture, type FakeNight } from "./fakeNight.ts";
import { makeFrame, NIGHT_START } from "./madeUpNight.ts";

/** Night seconds from one made-up frame to the next. */
const SPACING_SECONDS = 60;

/**
 * Fills a fake night with dusk, a quiet arc, a breakup, a pause of the camera and more, one frame a
 * minute, so that a page can be looked at. All of it is invented. Pictures that are there already
 * are used again.
 */
export async function fillNight(
  night: FakeNight,
  options: { framesDir: string; count: number; picture?: { width: number; height: number } },
): Promise<void> {
  for (let index = 0; index < options.count; index += 1) {
    const path = join(options.framesDir, `${String(index).padStart(6, "0")}.jpg`);
    if (!existsSync(path)) await writePicture(options.framesDir, index, options.picture);
    night.addFrame(livelyFrame(index));
  }
  const at = (minute: number): ReturnType<typeof utcMs> => utcMs(NIGHT_START + minute * 60_000);
  night.changeWatch({
    nextFrameUtcMs: at(options.count),
    batteryEndsUtcMs: at(options.count + 6 * 60),
    cardEndsUtcMs: at(options.count + 34 * 60),
    surges: [
      { startUtcMs: at(250), endUtcMs: at(274), riseStops: 3.1 },
      { startUtcMs: at(395), endUtcMs: at(405), riseStops: 1.8 },
    ],
    gaps: [
      {
        startUtcMs: at(330),
        endUtcMs: at(336),
        why: "the camera did not answer; the link was opened again",
      },
    ],
    guards: [
      {
        guard: "dew",
        level: "warning",
        sentence: "Stars widen and dim together: turn the lens heater up.",
        sinceUtcMs: at(360),
      },
    ],
  });
}

function livelyFrame(index: number): Partial<FrameRecord> {
  const minute = (index * SPACING_SECONDS) / 60;
  const dusk = 30 * Math.exp(-minute / 11);
  const breakup = 0.05 * Math.exp(-(((minute - 258) / 7) ** 2));
  const arc = 0.0016 * (1 + 0.4 * Math.sin(minute / 23));
  const skyLuminanceCdM2 = dusk + arc + breakup + 0.0003;
  // Time first, ISO when the time is used up: −2 stops from mid-grey at f/2.8.
  const dose = (0.25 * 10 * 2.8 ** 2) / (0.65 * skyLuminanceCdM2);
  const exposureSeconds = Math.max(0.5, Math.min(15, dose / 800));
  const iso = Math.max(100, Math.min(12800, dose / exposureSeconds));
  const exposure = { exposureSeconds, iso, fNumber: 2.8 };
  const { reading } = makeFrame();
  const isGap = minute > 330 && minute < 336;
  return {
    openedUtcMs: isGap ? null : utcMs(NIGHT_START + minute * 60_000),
    ordered: exposure,
    happened: exposure,
    pace: minute > 100 && minute < 240 ? "sentinel" : "full",
    reading: reading && { ...reading, skyLuminanceCdM2 },
  };
}

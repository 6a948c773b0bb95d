import type { Reading } from "../photometry/reading.ts";
import type { MonotonicMs } from "../units.ts";
import { guardDew } from "./environmentGuards.ts";
import { clearGuard, raiseGuard } from "./raiseGuard.ts";
import type { EndedBy, StarTrack, WatchKnowledge } from "./state.ts";

/**
 * Stars this much wider than at their best, frame after frame, are a lens going soft. Common practice, no
 * source. In 600 made-up nights whose widths scatter by 5 % about a drift of 3 % none is a false alarm, and
 * a lens that loses focus over 120 frames is found after 39; at 1.175 184 nights are false, at 1.7 it
 * takes 88 frames.
 */
const STAR_WIDTH_RATIO_MAX = 1.35;
/**
 * With dew or frost the stars also fade; fewer than this share of them left tells it from focus.
 * In the nights above 78 of 200 dews and 185 of 200 lost focuses are named rightly while they set in; at 0.3 none
 * and all, at 0.9 196 and 35: a wrong word for a moved ring is worse than a late one for dew.
 */
const STAR_COUNT_RATIO_DEW = 0.6;
/*
 * The figures below are of 200 nights each, sharp, dewing over and losing focus, with clouds of up to
 * five frames: as it stands no false alarm, every lost focus found after 47 frames, 17 dews named
 * rightly at once (`npx tsx tests/bench/constants.ts --only stars`).
 */

/** So many frames in a row before a guard is raised. Half: 184 false alarms, by clouds; double: found after 56 frames. */
const WORSE_FRAME_COUNT = 6;
/** With fewer stars their width says little. Half changes nothing, double names 13 dews rightly; of nights with 15 stars none is false. */
const STAR_COUNT_MIN = 12;
/** Part of the way that the best width goes to a sharper frame, so that one lucky frame does not set it. Half: found after 50 frames; double: 45. */
const SHARPER_SHARE = 0.2;
/** The same to a frame that is less sharp, so that a drift of the whole night is followed. Half: found after 45 frames; double: 51. */
const SOFTER_SHARE = 0.002;
/** What a frame leaves of the most stars seen, as a sky loses stars to moonlight. Half of the loss: 43 dews named rightly; double: 9. */
const MOST_STARS_KEPT = 0.995;

/** Says how the camera is worked, and what has to be set on it by hand. */
export function guardFromCamera(
  known: WatchKnowledge,
  { fixedIso, remarks }: { readonly fixedIso: number | null; readonly remarks: readonly string[] },
  atMs: MonotonicMs,
): WatchKnowledge {
  const byHand =
    fixedIso === null
      ? []
      : [
          `ISO cannot be set from here: set ISO ${fixedIso} on the camera by hand and leave it there. The exposure is governed by time alone.`,
        ];
  const sentences = [...remarks, ...byHand];
  if (sentences.length === 0) return known;
  return raiseGuard(known, atMs, {
    guard: "camera",
    level: "note",
    sentence: sentences.join(" "),
  });
}

/** Says what ISO a camera was found to take pictures at that neither tells nor takes one. */
export function guardFromFiles(
  known: WatchKnowledge,
  iso: number,
  atMs: MonotonicMs,
): WatchKnowledge {
  return raiseGuard(known, atMs, {
    guard: "camera",
    level: "note",
    sentence: `The camera does not tell its ISO; its files say ISO ${iso}, and that counts. Leave it there, not on automatic: the exposure is governed by time alone.`,
  });
}

/** Battery and card against their limits. */
export function guardsFromStatus(known: WatchKnowledge, atMs: MonotonicMs): WatchKnowledge {
  return guardCard(guardBattery(known, atMs), atMs);
}

function guardBattery(known: WatchKnowledge, atMs: MonotonicMs): WatchKnowledge {
  const percent = known.camera.batteryPercent;
  const { batteryWarningPercent, batteryStopPercent } = known.settings;
  if (percent === null || percent > batteryWarningPercent) return clearGuard(known, "battery");
  return raiseGuard(known, atMs, {
    guard: "battery",
    level: percent <= batteryStopPercent ? "stop" : "warning",
    sentence: `Camera battery at ${Math.round(percent)} %. The watch ends in order at ${batteryStopPercent} %; a warm spare gives you the rest of the night.`,
  });
}

function guardCard(known: WatchKnowledge, atMs: MonotonicMs): WatchKnowledge {
  const frames = known.camera.freeFrames;
  if (frames === null || frames > known.settings.cardWarningFrames) {
    return known.guards.some((guard) => guard.guard === "storage" && guard.level === "warning")
      ? clearGuard(known, "storage")
      : known;
  }
  return raiseGuard(known, atMs, {
    guard: "storage",
    level: frames <= 0 ? "stop" : "warning",
    sentence:
      frames <= 0
        ? "The card is full. Everything taken is kept; put in another card and start again."
        : `Room for ${frames} more frames on the card. The watch ends when it is full; have another card ready.`,
  });
}

/** The reason for ending now, if there is one. */
export function endReason(known: WatchKnowledge, atMs: MonotonicMs): EndedBy | null {
  const { untilMs, dawnMs, frameCountMax, batteryStopPercent } = known.settings;
  if (untilMs !== null && atMs >= untilMs) return "time";
  if (dawnMs !== null && atMs >= dawnMs) return "dawn";
  if (frameCountMax !== null && known.frames.takenCount >= frameCountMax) return "frames";
  if (known.camera.batteryPercent !== null && known.camera.batteryPercent <= batteryStopPercent)
    return "battery";
  if (known.camera.freeFrames !== null && known.camera.freeFrames <= 0) return "card";
  return null;
}

/**
 * Watches the stars' width and number for a lens that goes soft: wider and fewer is dew or frost,
 * wider alone is the focus ring.
 */
export function guardFromStars(
  known: WatchKnowledge,
  reading: Reading,
  atMs: MonotonicMs,
): WatchKnowledge {
  const { starWidthPx, starCount } = reading;
  if (starWidthPx === null || starCount < STAR_COUNT_MIN) return known;
  const { bestWidthPx, bestCount, worseCount } = known.sky.stars;
  const best =
    bestWidthPx === null
      ? starWidthPx
      : bestWidthPx +
        (starWidthPx < bestWidthPx ? SHARPER_SHARE : SOFTER_SHARE) * (starWidthPx - bestWidthPx);
  const isWorse = bestWidthPx !== null && starWidthPx > STAR_WIDTH_RATIO_MAX * bestWidthPx;
  const stars: StarTrack = {
    bestWidthPx: isWorse ? bestWidthPx : best,
    bestCount: isWorse ? bestCount : Math.max(bestCount * MOST_STARS_KEPT, starCount),
    worseCount: isWorse ? worseCount + 1 : 0,
  };
  const next = { ...known, sky: { ...known.sky, stars } };
  if (stars.worseCount < WORSE_FRAME_COUNT) {
    if (stars.worseCount > 0) return next;
    const isDewy = next.guards.some(({ guard, level }) => guard === "dew" && level === "warning");
    const clear = clearGuard(isDewy ? clearGuard(next, "dew") : next, "focus");
    return guardDew(clear, atMs);
  }
  const isDew = starCount < STAR_COUNT_RATIO_DEW * bestCount;
  const width = `${starWidthPx.toFixed(1)} px against ${(bestWidthPx ?? starWidthPx).toFixed(1)} px`;
  return raiseGuard(next, atMs, {
    guard: isDew ? "dew" : "focus",
    level: "warning",
    sentence: isDew
      ? `Stars are wider (${width}) and fading: dew or frost on the lens. Frames go on; warm the lens, do not wipe ice.`
      : `Stars are wider (${width}): the focus has moved. Frames go on; refocus on a bright star and tape the ring.`,
  });
}

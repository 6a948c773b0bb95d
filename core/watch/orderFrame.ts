import { governExposure } from "../exposure/governor.ts";
import type { MonotonicMs } from "../units.ts";
import { intervalSeconds, overdueMs } from "./deadlines.ts";
import { afterOrder } from "./pictureTrack.ts";
import type { WatchState } from "./state.ts";
import type { WatchStep } from "./watchStep.ts";

/**
 * What the probes vary the exposure by, stops: from well under to well over the wanted brightness,
 * up and down by turns, so that a sky that brightens or darkens steadily cancels out.
 */
const PROBE_STOPS = [0.9, -0.8, 1.4, -0.4, 0.5, -1.1, 1.8, -0.6];
/** The first probe waits for so many frames, so that the governor knows the sky by then. */
const FRAMES_BEFORE_PROBES = 3;

/** Asks the governor for the next exposure and orders the frame. */
export function orderFrame(state: WatchState, atMs: MonotonicMs): WatchStep {
  const frameIndex = state.nextFrameIndex;
  const { targetStops } = state.settings.exposure;
  const probeStops = nextProbeStops(state);
  const {
    exposure,
    reasons,
    isReachable,
    state: governor,
  } = governExposure(
    state.governor,
    { openAtMs: atMs, frameIndex },
    {
      ...state.settings.exposure,
      targetStops: targetStops + probeStops,
      intervalSeconds: intervalSeconds(state),
    },
  );
  // A bright sky at the shortest exposure is dusk or dawn, and needs no word.
  const isTooDark =
    !isReachable && exposure.exposureSeconds >= state.settings.exposure.exposureSecondsMax;
  const deadlineMs = overdueMs(state, atMs, exposure.exposureSeconds);
  return {
    state: {
      ...state,
      governor,
      nextFrameIndex: frameIndex + 1,
      probesLeft: state.probesLeft - (probeStops === 0 ? 0 : 1),
      pictures: probeStops === 0 ? afterOrder(state.pictures, isTooDark, atMs) : state.pictures,
      phase: { kind: "ordered", frameIndex, exposure, deadlineMs },
    },
    effects: [
      {
        kind: "expose",
        openAtMs: atMs,
        reasons: probeStops === 0 ? reasons : [probeReason(probeStops, isReachable), ...reasons],
        pace: state.pace,
        ...{ frameIndex, exposure, targetStops, isReachable, probeStops },
      },
      { kind: "wake", atMs: deadlineMs },
    ],
  };
}

function nextProbeStops(state: WatchState): number {
  if (state.probesLeft <= 0 || state.takenCount < FRAMES_BEFORE_PROBES) return 0;
  return PROBE_STOPS[state.probesLeft % PROBE_STOPS.length] ?? 0;
}

function probeReason(stops: number, isReachable: boolean): string {
  const way = stops > 0 ? "brighter" : "darker";
  if (!isReachable) return `as much ${way} as it goes, to learn the tone curve`;
  return `${Math.abs(stops).toFixed(1)} stops ${way} to learn the tone curve`;
}

import { governExposure, type GovernDecision } from "../exposure/governor.ts";
import type { MonotonicMs } from "../units.ts";
import { targetStopsAt } from "../exposure/twilightTarget.ts";
import { intervalSeconds, overdueMs } from "./deadlines.ts";
import { afterOrder } from "./pictureTrack.ts";
import { withFrames, withFramesAndSky } from "./knownParts.ts";
import type { WatchKnowledge, WatchState } from "./state.ts";
import type { WatchStep } from "./watchStep.ts";

/**
 * What the probes vary the exposure by, stops: within a third of a stop, so that they spoil no film,
 * and up and down by turns, so that a sky that brightens or darkens steadily cancels out. Over the
 * codes that the sky fills (30 to 150 in the dusk of the demo) the curve is known as well after 40 of
 * these as after 40 of up to 1.8 stops: to 0.03 stop, and as early, with the fifteenth frame.
 */
const PROBE_STOPS = [0.3, -0.3, 0.15, -0.3, 0.3, -0.15, 0.25, -0.25];
/** The first probe waits for so many frames, so that the governor knows the sky by then. */
const FRAMES_BEFORE_PROBES = 3;

/** Asks the governor for the next exposure and orders the frame. */
export function orderFrame(state: WatchState, atMs: MonotonicMs): WatchStep {
  const { known } = state;
  const frameIndex = known.frames.nextFrameIndex;
  const probeStops = nextProbeStops(state, atMs);
  const targetStops = targetStopsAt(known.settings, atMs) + probeStops;
  const decision = decide(state, atMs, targetStops);
  const { exposure, reasons, isReachable, state: governor } = decision;
  // A bright sky at the shortest exposure is dusk or dawn, and needs no word.
  const isTooDark =
    !isReachable && exposure.exposureSeconds >= known.settings.exposure.exposureSecondsMax;
  const deadlineMs = overdueMs(known, atMs, exposure.exposureSeconds);
  return {
    state: {
      phase: { kind: "ordered", frameIndex, exposure, deadlineMs },
      known:
        probeStops === 0 ? ordered(known, isTooDark, atMs) : withFramesAndSky(known, probed(known)),
      governor,
      ignored: state.ignored,
    },
    effects: [
      {
        kind: "expose",
        openAtMs: atMs,
        reasons: probeStops === 0 ? reasons : [probeReason(probeStops), ...reasons],
        pace: known.sky.pace,
        ...{ frameIndex, exposure, targetStops, isReachable, probeStops },
      },
      { kind: "wake", atMs: deadlineMs },
    ],
  };
}

function ordered(known: WatchKnowledge, isTooDark: boolean, atMs: MonotonicMs): WatchKnowledge {
  const { frames } = known;
  return withFrames(known, {
    ...frames,
    nextFrameIndex: frames.nextFrameIndex + 1,
    pictures: afterOrder(frames.pictures, isTooDark, atMs),
  });
}

/** A frame that varies the exposure says nothing of the limits. */
function probed({ frames, sky }: WatchKnowledge): Pick<WatchKnowledge, "frames" | "sky"> {
  return {
    frames: { ...frames, nextFrameIndex: frames.nextFrameIndex + 1 },
    sky: { ...sky, probesLeft: sky.probesLeft - 1 },
  };
}

/** What the governor makes of a target. */
function decide(
  { known, governor }: WatchState,
  atMs: MonotonicMs,
  targetStops: number,
): GovernDecision {
  return governExposure(
    governor,
    { openAtMs: atMs, frameIndex: known.frames.nextFrameIndex },
    { ...known.settings.exposure, targetStops, intervalSeconds: intervalSeconds(known) },
  );
}

/** What the next frame varies the exposure by; 0 while the limits leave no room both ways. */
function nextProbeStops(state: WatchState, atMs: MonotonicMs): number {
  const {
    sky: { probesLeft },
    frames: { takenCount },
    settings,
  } = state.known;
  if (probesLeft <= 0 || takenCount < FRAMES_BEFORE_PROBES) return 0;
  const targetStops = targetStopsAt(settings, atMs);
  const hasRoom = (stops: number): boolean => decide(state, atMs, targetStops + stops).isReachable;
  if (!hasRoom(PROBE_STOPS_MAX) || !hasRoom(-PROBE_STOPS_MAX)) return 0;
  return PROBE_STOPS[probesLeft % PROBE_STOPS.length] ?? 0;
}

const PROBE_STOPS_MAX = Math.max(...PROBE_STOPS.map(Math.abs));

function probeReason(stops: number): string {
  const way = stops > 0 ? "brighter" : "darker";
  return `${Math.abs(stops).toFixed(2)} stop ${way} to learn the tone curve`;
}

import type { MonotonicMs } from "../units.ts";
import { allocate, secondsIsoFor, type ExposureLimit } from "./allocation.ts";
import type { Exposure } from "./exposure.ts";
import { curtainSecondsOf } from "./limits.ts";
import { isUsable, levelOf, type FrameObservation } from "./observation.ts";
import type { ExposureSettings } from "./settings.ts";

export type { FrameObservation } from "./observation.ts";

/** What the governor remembers: plain immutable data, the same after a replay of the same events. */
export type GovernorState = {
  readonly first: Exposure | null;
  readonly newest: FrameObservation | null;
  readonly heldIso: number | null;
};

/** The next exposure, with the reasons that are shown to the photographer. */
export type GovernDecision = {
  readonly exposure: Exposure;
  readonly reasons: readonly string[];
  readonly limit: ExposureLimit;
  /** False when no exposure within the limits meets the target. */
  readonly isReachable: boolean;
  readonly state: GovernorState;
};

/** @param first  Exposure of the first frame; null: a guess for a dark sky. */
export function startGovernor(first: Exposure | null): GovernorState {
  return { first, newest: null, heldIso: null };
}

/** Takes in what a frame's reading said; a senseless reading changes nothing. */
export function observeFrame(
  state: GovernorState,
  observation: FrameObservation,
  _settings: ExposureSettings,
): GovernorState {
  return isUsable(observation) ? { ...state, newest: observation } : state;
}

/** Takes in a sample of the sky light meter, whose scale is not known. */
export function observeLight(
  state: GovernorState,
  _sample: { readonly atMs: MonotonicMs; readonly value: number },
): GovernorState {
  return state;
}

/** A dark sky without the Moon or aurora. Source: 21.6 mag/arcsec², Patat 2003. */
const DARK_SKY_LEVEL = Math.log2(2.5e-4);

/** Chooses the exposure that brings the coming frame to the target, within the limits. */
export function governExposure(
  state: GovernorState,
  _order: { readonly openAtMs: MonotonicMs; readonly frameIndex: number },
  settings: ExposureSettings,
): GovernDecision {
  const level = state.newest === null ? DARK_SKY_LEVEL : levelOf(state.newest);
  const curtainSeconds =
    state.newest === null ? Infinity : curtainSecondsOf(state.newest.motion, settings);
  const isFirst = state.newest === null && state.first !== null;
  const secondsIso = isFirst
    ? state.first.exposureSeconds * state.first.iso
    : secondsIsoFor(level, settings.targetStops, settings);
  const split = allocate(secondsIso, { curtainSeconds, heldIso: state.heldIso }, settings);
  const { exposureSeconds, iso, limit, isReachable } = split;
  return {
    exposure: { exposureSeconds, iso, fNumber: settings.fNumber },
    reasons: [state.newest === null ? "first frame" : "as the newest frame asks"],
    limit,
    isReachable,
    state: { ...state, heldIso: iso },
  };
}

/** True when the light meter says that this open frame has had its dose. */
export function hasHadItsDose(
  _state: GovernorState,
  _open: { readonly openedMs: MonotonicMs; readonly exposure: Exposure },
  _nowMs: MonotonicMs,
  _settings: ExposureSettings,
): boolean {
  return false;
}

import { NightError } from "../../core/errors.ts";

/** The link has ended by something else than `close`. */
export function linkLost(place: string, cause: Error | null = null): NightError {
  const sentence = `The link to the camera at ${place} is lost.`;
  return new NightError("camera.gone", sentence, { why: cause?.message }, { cause });
}

/** A transaction took longer than it may. */
export function tooLate(place: string): NightError {
  return new NightError("ptp.timeout", `The camera at ${place} did not answer in time.`);
}

/** A transaction was called back from our side. */
export function calledBack(): NightError {
  return new NightError("ptp.cancelled", "The transfer was broken off.");
}

/** The camera ended a transaction before its end. */
export function brokenOff(): NightError {
  return new NightError("ptp.cancelled", "The camera broke the operation off.");
}

/** The camera and we do not agree on what is being said; such a link cannot go on. */
export function outOfStep(what: string): NightError {
  return new NightError("ptp.malformed", `the camera sent ${what}`);
}

/** Two transactions at once are a mistake of ours. */
export function alreadyRunning(): NightError {
  return new NightError("invariant.violated", "two transactions at once were asked of one camera");
}

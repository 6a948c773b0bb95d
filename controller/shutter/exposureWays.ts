import type { NightError } from "../../core/errors.ts";
import type { ExposureMethod } from "./exposureMethod.ts";

export type Way = ExposureMethod["kind"];

/** A way that the camera refused so often in a row is left aside. */
const REFUSALS_MAX = 3;
/** So long, real milliseconds; no source: rare beside frames, soon enough after a turned dial. */
const ASIDE_MS = 5 * 60_000;

/**
 * Which ways of making an exposure a camera may be asked for. A refusal costs a way, never the
 * night: what was refused for one frame is made in another way, and what was refused three times is
 * asked for again minutes later, or at once when a dial moves.
 */
export class ExposureWays {
  readonly #refusals = new Map<Way, { readonly count: number; readonly untilMs: number }>();

  /** Whether the camera may be asked for it now. */
  isOpen(way: Way, nowMs: number): boolean {
    const refused = this.#refusals.get(way);
    return !refused || refused.count < REFUSALS_MAX || nowMs >= refused.untilMs;
  }

  /** The camera answered that it does not do it. @returns whether it is left aside from now on. */
  noteRefusal(way: Way, nowMs: number): boolean {
    const count = (this.#refusals.get(way)?.count ?? 0) + 1;
    this.#refusals.set(way, { count, untilMs: nowMs + ASIDE_MS });
    return count >= REFUSALS_MAX;
  }

  noteSuccess(way: Way): void {
    this.#refusals.delete(way);
  }

  /** Somebody changed something on the camera: everything may be asked for once more. */
  reconsider(): void {
    for (const [way, { count }] of this.#refusals) {
      this.#refusals.set(way, { count: Math.min(count, REFUSALS_MAX), untilMs: 0 });
    }
  }
}

/**
 * Whether an error is the camera's clear word that it does not do this. Busy is no refusal, and
 * silence says nothing about the shutter.
 */
export function isRefusal(error: NightError): boolean {
  return error.code === "ptp.response" || error.code === "camera.unsupported";
}

import { NightError } from "../../core/errors.ts";
import type { OperationOptions, PtpSession } from "../cameras/ptpSession.ts";
import { realMs } from "../timing/clock.ts";
import type { LinkPace } from "./linkPace.ts";

/** What an errand needs before it can take its next step; real milliseconds. */
export type Need = {
  /** Time that must be left before the shutter moves. */
  readonly atLeastMs: number;
  /** Not to be tried before this moment. */
  readonly notBeforeMs: number;
};

/** The time that an errand is granted for one step, and the signal that cuts it short. */
export type Grant = { readonly budgetMs: number; readonly signal: AbortSignal };

/**
 * Work for the camera between movements of the shutter: a preview, a file, the battery.
 *
 * An errand is a generator that yields before every transaction what it needs, and is resumed with a
 * grant when there is room. It runs at most one transaction between two yields, so that nothing is
 * in flight when the shutter must move.
 */
export type Errand<T = void> = AsyncGenerator<Need, T, Grant>;

/** What every errand works with. */
export type ErrandTools = { readonly session: PtpSession; readonly pace: LinkPace };

/** How long a busy camera is asked again during one errand, real milliseconds. */
const BUSY_MS_MAX = 60_000;
const BUSY_PAUSE_MS = 50;
const BUSY_PAUSE_MS_MAX = 1_000;

/** Runs one transaction when there is room for it; again when the camera is busy or it was cut. */
export async function* whenThereIsRoom<T>(
  tools: ErrandTools,
  run: (options: OperationOptions, budgetMs: number) => Promise<T>,
  needMs: () => number = () => tools.pace.roundTripMsMax,
): Errand<T> {
  const untilMs = realMs() + BUSY_MS_MAX;
  let notBeforeMs = 0;
  for (let pauseMs = BUSY_PAUSE_MS; ; pauseMs = Math.min(2 * pauseMs, BUSY_PAUSE_MS_MAX)) {
    const grant = yield { atLeastMs: needMs(), notBeforeMs };
    try {
      return await run({ signal: grant.signal }, grant.budgetMs);
    } catch (thrown) {
      if (!isPassing(thrown) || realMs() > untilMs) throw thrown;
      notBeforeMs = realMs() + pauseMs;
    }
  }
}

/** Waits without holding anything. */
export async function* after(pauseMs: number): Errand {
  yield { atLeastMs: 0, notBeforeMs: realMs() + pauseMs };
}

function isPassing(thrown: unknown): boolean {
  return (
    thrown instanceof NightError &&
    (thrown.code === "camera.busy" || thrown.code === "ptp.cancelled")
  );
}

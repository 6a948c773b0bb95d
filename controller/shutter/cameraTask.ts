import { NightError } from "../../core/errors.ts";
import type { OperationOptions, PtpSession } from "../cameras/ptpSession.ts";
import { BusyWait, patientPauses } from "../timing/whileBusy.ts";
import type { LinkSpeed } from "./linkSpeed.ts";

/** What a task needs before it can take its next step; real milliseconds. */
export type Need = {
  /** Time that must be left before the shutter moves. */
  readonly atLeastMs: number;
  /** Not to be tried before this moment. */
  readonly notBeforeMs: number;
};

/** The time that a task is granted for one step, and the signal that cuts it short. */
type Grant = { readonly budgetMs: number; readonly signal: AbortSignal };

/**
 * Work for the camera between movements of the shutter: a preview, a file, the battery.
 *
 * A task is a generator that yields before every transaction what it needs, and is resumed with a
 * grant when there is room. It runs at most one transaction between two yields, so that nothing is
 * in flight when the shutter must move.
 */
export type CameraTask<T = void> = AsyncGenerator<Need, T, Grant>;

/** What every task works with. */
export type CameraTaskTools = {
  readonly session: PtpSession;
  readonly speed: LinkSpeed;
  /** The shortest pause before a busy camera is asked again, real milliseconds. */
  readonly busyPollMs: number;
};

/** How long a busy camera is asked again during one task, real milliseconds. */
const BUSY_MS_MAX = 60_000;

/** Runs one transaction when there is room for it; again when the camera is busy or it was cut. */
export async function* whenThereIsRoom<T>(
  tools: CameraTaskTools,
  run: (options: OperationOptions, budgetMs: number) => Promise<T>,
  needMs: () => number = () => tools.speed.roundTripMsMax,
): CameraTask<T> {
  const { nowMs } = tools.session.time;
  const wait = new BusyWait(patientPauses(tools.busyPollMs), BUSY_MS_MAX, nowMs);
  for (let notBeforeMs = 0; ;) {
    const grant = yield { atLeastMs: needMs(), notBeforeMs };
    try {
      return await run({ signal: grant.signal }, grant.budgetMs);
    } catch (thrown) {
      const pauseMs = isPassing(thrown) ? wait.next() : null;
      if (pauseMs === null) throw thrown;
      notBeforeMs = nowMs() + pauseMs;
    }
  }
}

/** Waits without holding anything. */
export async function* after({ session }: CameraTaskTools, pauseMs: number): CameraTask {
  yield { atLeastMs: 0, notBeforeMs: session.time.nowMs() + pauseMs };
}

function isPassing(thrown: unknown): boolean {
  return (
    thrown instanceof NightError &&
    (thrown.code === "camera.busy" || thrown.code === "ptp.cancelled")
  );
}

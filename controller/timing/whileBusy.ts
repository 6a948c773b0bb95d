import { asNightError, type NightError } from "../../core/errors.ts";

/** How a busy camera is asked again; real milliseconds. */
export type BusyPauses = {
  /** The shortest pause, as the camera's profile has it. */
  readonly pollMs: number;
  /** A pause as a share of the time that the camera has been busy. */
  readonly share: number;
  readonly pauseMsMax: number;
};

/**
 * While the shutter waits for the camera: a pause costs at most a fiftieth of the time that it was
 * busy anyway, and never more than a tenth of a second.
 */
export function promptPauses(pollMs: number): BusyPauses {
  return { pollMs, share: 0.02, pauseMsMax: 100 };
}

/** While nothing hangs on it: each pause as long as all before, up to a second. */
export function patientPauses(pollMs: number): BusyPauses {
  return { pollMs, share: 1, pauseMsMax: 1_000 };
}

/** Where there is no profile yet. Judgement: asking ten times a second burdens no camera. */
export const DEFAULT_BUSY_POLL_MS = 100;

/** The pauses between attempts on a camera that is busy, until its time is up. */
export class BusyWait {
  readonly #pauses: BusyPauses;
  readonly #nowMs: () => number;
  readonly #startMs: number;
  readonly #untilMs: number;

  /** @param busyMsMax  How long the camera may be busy; 0: it is not asked again. */
  constructor(pauses: BusyPauses, busyMsMax: number, nowMs: () => number) {
    this.#pauses = pauses;
    this.#nowMs = nowMs;
    this.#startMs = nowMs();
    this.#untilMs = this.#startMs + busyMsMax;
  }

  /** @returns the pause before the next attempt; null: the time is up. */
  next(): number | null {
    const { pollMs, share, pauseMsMax } = this.#pauses;
    const nowMs = this.#nowMs();
    const pauseMs = Math.max(pollMs, Math.min((nowMs - this.#startMs) * share, pauseMsMax));
    return nowMs + pauseMs > this.#untilMs ? null : pauseMs;
  }
}

type WhileBusyOptions = {
  readonly wait: BusyWait;
  /** Waits between two attempts; it may end early when something happened. */
  readonly pause: (pauseMs: number) => Promise<void>;
  /** Whether an error is worth another attempt; left out: `camera.busy` is. */
  readonly isBusy?: (error: NightError) => boolean;
};

/**
 * Makes an attempt, and again while the camera is busy.
 * @throws NightError the first that does not mean busy, or the last one when the time is up.
 */
export async function whileBusy<T>(
  attempt: () => Promise<T>,
  { wait, pause, isBusy = ({ code }) => code === "camera.busy" }: WhileBusyOptions,
): Promise<T> {
  for (;;) {
    try {
      return await attempt();
    } catch (thrown) {
      const pauseMs = isBusy(asNightError(thrown)) ? wait.next() : null;
      if (pauseMs === null) throw thrown;
      await pause(pauseMs);
    }
  }
}

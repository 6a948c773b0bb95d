import { setTimeout as sleep } from "node:timers/promises";
import { NightError } from "../../../core/errors.ts";
import { RESPONSES } from "../../../core/ptp/responses.ts";
import { realMs } from "../../timing/clock.ts";
import type { RunningTransaction } from "../runningTransaction.ts";
import { UsbTransferError, type UsbLink } from "./link.ts";

/** Between two looks at a camera that cleans up. Advice, no source. */
const STATUS_PAUSES_MS = [2, 5, 10, 20, 50];
/** Silence after which a bulk pipe counts as empty. */
const QUIET_MS = 25;
/** A pipe that is never quiet is not waited for at opening. */
const DRAIN_BYTES_MAX = 64 * 1024 * 1024;
const DRAIN_READ_BYTES = 64 * 1024;

/** Who broke a transaction off: we, the camera by a stall, or the camera by an event. */
export type BrokenBy = "us" | "stall" | "event";

/** "unclear": the camera cannot tell; "never": it did not become ready in time. */
type Readiness = "clean" | "unclear" | "never";

/**
 * A program that was killed may have left the camera in the middle of an answer: waits until it is
 * ready, and reads what is still in the pipe.
 * @throws NightError `camera.busy` when that takes longer than it may; UsbTransferError.
 */
export async function tidyUp(link: UsbLink, place: string, untilMs: number): Promise<void> {
  await waitUntilReady(link, () => realMs() < untilMs);
  let bytesLeft = DRAIN_BYTES_MAX;
  while (bytesLeft > 0 && realMs() < untilMs) {
    try {
      bytesLeft -= Math.max(1, (await link.read(DRAIN_READ_BYTES, QUIET_MS)).bytes.length);
    } catch (thrown) {
      if (!(thrown instanceof UsbTransferError)) throw thrown;
      if (thrown.trouble === "timeout") return;
      if (thrown.trouble !== "stall") throw thrown;
      await link.clearHalts();
    }
  }
  throw new NightError(
    "camera.busy",
    `The camera at ${place} is still busy with something older; switch it off and on again.`,
  );
}

/**
 * Brings camera and host back in step after a broken transaction; where that takes longer than it
 * may, the camera is reset.
 */
export class UsbRecovery {
  /** When the camera says that it has cleaned up, or fails to. */
  readonly cleaned: Promise<void>;
  readonly #link: UsbLink;
  readonly #transaction: RunningTransaction;
  readonly #untilMs: number;

  /** @param lose  The link is of no use any more. */
  constructor(
    link: UsbLink,
    transaction: RunningTransaction,
    how: { readonly by: BrokenBy; readonly withinMs: number },
    lose: (cause: Error) => void,
  ) {
    this.#link = link;
    this.#transaction = transaction;
    this.#untilMs = realMs() + how.withinMs;
    const cleaning = this.#clean(how.by);
    this.cleaned = cleaning.then(
      () => undefined,
      () => undefined, // reported below
    );
    cleaning
      .then(async (readiness) => await this.#awaitEnd(readiness, lose))
      .catch((thrown: unknown) => {
        if (!transaction.isSettled) lose(thrown as Error);
      });
  }

  async #clean(by: BrokenBy): Promise<Readiness> {
    if (by === "us") await this.#link.cancel(this.#transaction.id);
    if (by === "stall") await this.#link.clearHalts();
    // What was on its way out is not wanted any more.
    this.#link.callBackWrite();
    return await waitUntilReady(this.#link, () => this.#isWaited());
  }

  /** The answer may still come; behind a clean state, silence means that there is none. */
  async #awaitEnd(readiness: Readiness, lose: (cause: Error) => void): Promise<void> {
    while (readiness !== "never" && this.#isWaited()) {
      await sleep(Math.min(QUIET_MS, Math.max(1, this.#untilMs - realMs())));
      if (readiness === "clean" && !this.#transaction.isSettled) this.#link.callBackRead();
    }
    if (this.#transaction.isSettled) return;
    // A reset closes the session, so that the link is of no use any more either.
    await this.#link.reset();
    lose(new Error("a cancelled transaction never ended; the camera was reset"));
  }

  #isWaited(): boolean {
    return !this.#transaction.isSettled && realMs() < this.#untilMs;
  }
}

/** Looks at the camera's state until it is ready or nobody waits any more. */
async function waitUntilReady(link: UsbLink, isWaited: () => boolean): Promise<Readiness> {
  for (let attempt = 0; isWaited(); attempt += 1) {
    const status = await link.readStatus();
    if (status === null) return "unclear";
    if (status === RESPONSES.OK) return "clean";
    if (status === RESPONSES.TransactionCancelled) await link.clearHalts();
    await sleep(STATUS_PAUSES_MS[Math.min(attempt, STATUS_PAUSES_MS.length - 1)] ?? 0);
  }
  return "never";
}

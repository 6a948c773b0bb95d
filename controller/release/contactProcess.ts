import type { ChildProcess } from "node:child_process";
import { asNightError, NightError } from "../../core/errors.ts";
import { realMs } from "../timing/clock.ts";
import type { FromContact, ToContact } from "./contactMessages.ts";
import { startProcess } from "../workers/startProcess.ts";
import { releaseContact } from "./openContact.ts";
import type { ReleaseTarget } from "./releaseTarget.ts";

export type ContactProcessOptions = {
  readonly target: ReleaseTarget;
  readonly tell: (message: FromContact) => void;
  /** The owner's own file. */
  readonly main?: URL;
  /** Opens the contact when its owner has died; for a relay, which keeps its state. */
  readonly rescue?: (target: ReleaseTarget) => Promise<void>;
};

/** How long after its time a contact may still be ordered to close before its owner is replaced. */
const OVERDUE_MS = 2_000;
const TAKE_MS_MAX = 20_000;
const END_MS_MAX = 5_000;
const RESCUE_PAUSES_MS = [0, 200, 500, 1_000, 2_000, 5_000];

/**
 * The program's hold on the contact's owner process: asks, listens, and acts when the owner dies or
 * falls silent with the contact closed.
 */
export class ContactProcess {
  readonly #options: ContactProcessOptions;
  #child: ChildProcess | null = null;
  #pressId: number | null = null;
  #overdue: NodeJS.Timeout | null = null;
  #rescuing: Promise<void> = Promise.resolve();
  #isEnding = false;

  constructor(options: ContactProcessOptions) {
    this.#options = options;
  }

  /** The owner's process id; null: none runs. */
  get pid(): number | null {
    return this.#child?.pid ?? null;
  }

  /** Starts an owner, once a dead one's contact has been opened; answered by `taken` or `failed`. */
  async start(): Promise<void> {
    await this.#rescuing;
    if (this.#child || this.#isEnding) return;
    const main = this.#options.main ?? new URL("./contactMain.ts", import.meta.url);
    const child = startProcess(main, [], {
      // A group of its own: Ctrl-C reaches the program, which ends the press in order.
      detached: true,
      stdio: ["ignore", "ignore", "inherit", "ipc"],
    });
    this.#child = child;
    const timer = setTimeout(() => child.kill("SIGKILL"), TAKE_MS_MAX);
    child.on("message", (message: FromContact) => {
      clearTimeout(timer);
      this.#hear(message);
    });
    child.on("error", () => this.#noteEnd(child));
    child.on("exit", () => {
      clearTimeout(timer);
      this.#noteEnd(child);
    });
    this.#send({ kind: "take", target: this.#options.target });
  }

  /** Closes the contact at a moment, real time, for so long; `pressed` and `released` answer. */
  press(order: Omit<Extract<ToContact, { kind: "press" }>, "kind">): void {
    if (!this.#child) {
      return this.#fail(new NightError("release.gone", "The release contact is not there."), order);
    }
    this.#pressId = order.pressId;
    const waitMs = Math.max(0, order.atMs - realMs()) + order.holdMs + OVERDUE_MS;
    this.#watch(waitMs);
    this.#send({ kind: "press", ...order });
  }

  release(pressId: number): void {
    if (this.#pressId !== pressId) return;
    this.#watch(OVERDUE_MS);
    this.#send({ kind: "release", pressId });
  }

  /** Opens the contact and ends the owner. */
  async end(): Promise<void> {
    this.#isEnding = true;
    this.#watch(null);
    const child = this.#child;
    if (child) {
      await new Promise<void>((resolve) => {
        const timer = setTimeout(() => child.kill("SIGKILL"), END_MS_MAX);
        child.once("exit", () => {
          clearTimeout(timer);
          resolve();
        });
        this.#send({ kind: "end" });
      });
    }
    await this.#rescuing;
  }

  #send(message: ToContact): void {
    if (this.#child?.connected) this.#child.send(message, () => undefined);
  }

  #hear(message: FromContact): void {
    const isOver =
      message.kind === "released" ||
      (message.kind === "failed" && message.pressId === this.#pressId);
    if (isOver) {
      this.#pressId = null;
      this.#watch(null);
    }
    this.#options.tell(message);
    // An owner without a device is of no use; the next one takes it again.
    if (message.kind === "failed" && message.gone) this.#letGo();
  }

  #letGo(): void {
    const child = this.#child;
    this.#child = null;
    if (child?.connected) child.disconnect();
  }

  /** An owner that does not report the end of a press in time is killed; its end is acted on. */
  #watch(waitMs: number | null): void {
    if (this.#overdue) clearTimeout(this.#overdue);
    this.#overdue =
      waitMs === null
        ? null
        : setTimeout(() => this.#child?.kill("SIGKILL"), Math.min(waitMs, 2 ** 30));
  }

  #noteEnd(child: ChildProcess): void {
    if (this.#child !== child) return;
    this.#child = null;
    this.#watch(null);
    const pressId = this.#pressId;
    this.#pressId = null;
    const wasAsked = this.#isEnding && child.exitCode === 0;
    if (wasAsked) return;
    this.#rescuing = this.#rescue();
    if (this.#isEnding) return;
    const sentence = "The process that holds the release contact ended.";
    this.#fail(new NightError("release.gone", sentence), { pressId });
  }

  /** Tries until the contact is open, as often as makes sense; a device that is gone holds nothing. */
  async #rescue(): Promise<void> {
    const rescue = this.#options.rescue ?? releaseContact;
    for (const pauseMs of RESCUE_PAUSES_MS) {
      if (pauseMs > 0) await new Promise((resolve) => setTimeout(resolve, pauseMs));
      try {
        return await rescue(this.#options.target);
      } catch (thrown) {
        if (this.#isEnding && asNightError(thrown).code !== "release.gone") return;
      }
    }
  }

  #fail(error: NightError, { pressId }: { readonly pressId: number | null }): void {
    const { code, message: sentence } = error;
    this.#options.tell({ kind: "failed", code, sentence, gone: true, pressId });
  }
}

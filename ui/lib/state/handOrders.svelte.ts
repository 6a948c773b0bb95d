import type { WatchView } from "../../../core/api/messages.ts";
import type { KeyAction } from "../keys/keys.ts";

/** Ends that a pause is offered with. */
export const PAUSE_MINUTES = [10, 30, 60] as const;

/** A stopped night stays open for so long, in case the hand did not mean it. */
const CLOSE_SECONDS = 10;

/** What the bar under the state row says. */
type HandSays =
  | { readonly kind: "nothing" }
  | { readonly kind: "asking"; readonly what: "pause" | "stop" }
  | { readonly kind: "paused" }
  | { readonly kind: "closing"; readonly secondsLeft: number }
  | { readonly kind: "hint" }
  | { readonly kind: "refused"; readonly sentence: string };

export type HandOrder =
  | { readonly kind: "start" | "resume" | "stop" }
  /** null: until the hand resumes. */
  | { readonly kind: "pause"; readonly minutes: number | null };

type HandOrdersOptions = {
  readonly watch: () => WatchView | null;
  readonly send: (cameraId: string, order: HandOrder) => Promise<unknown>;
  readonly sentenceOf: (thrown: unknown) => string;
};

/**
 * What the hand tells the watch of one camera, with a way back: a pause is undone by resuming; a stop
 * first pauses, and closes the night ten seconds later. Both take effect after the open frame.
 */
export class HandOrders {
  readonly #options: HandOrdersOptions;
  said = $state.raw<HandSays>({ kind: "nothing" });
  #timer: ReturnType<typeof setInterval> | undefined;
  /** The watch that is about to be closed, and whether it was paused before. */
  #closing: {
    readonly cameraId: string;
    readonly wasPaused: boolean;
    readonly closesAtMs: number;
  } | null = null;
  #isBusy = false;

  readonly isClosing = $derived(this.said.kind === "closing");

  constructor(options: HandOrdersOptions) {
    this.#options = options;
  }

  ask(what: "pause" | "stop"): void {
    if (!this.isClosing) this.said = { kind: "asking", what };
  }

  hint(): void {
    if (!this.isClosing) this.said = { kind: "hint" };
  }

  /** @returns whether there was something to put away. */
  dismiss(): boolean {
    if (this.said.kind === "nothing" || this.isClosing) return false;
    this.said = { kind: "nothing" };
    return true;
  }

  start(): Promise<boolean> {
    return this.#send({ kind: "start" }, { kind: "nothing" });
  }

  resume(): Promise<boolean> {
    return this.#send({ kind: "resume" }, { kind: "nothing" });
  }

  pause(minutes: number | null): Promise<boolean> {
    const after: HandSays = minutes === null ? { kind: "paused" } : { kind: "nothing" };
    return this.#send({ kind: "pause", minutes }, after);
  }

  async stop(): Promise<void> {
    const watch = this.#options.watch();
    if (watch === null || this.isClosing) return;
    const wasPaused = watch.phase === "paused";
    if (!wasPaused && !(await this.#send({ kind: "pause", minutes: null }, this.said))) return;
    const closesAtMs = performance.now() + CLOSE_SECONDS * 1000;
    this.#closing = { cameraId: watch.cameraId, wasPaused, closesAtMs };
    this.said = { kind: "closing", secondsLeft: CLOSE_SECONDS };
    this.#timer = setInterval(() => void this.#countDown(), 250);
  }

  async undo(): Promise<void> {
    const closing = this.#closing;
    this.#endCountDown();
    if (closing?.wasPaused) this.said = { kind: "nothing" };
    else if (closing !== null) {
      await this.#send({ kind: "resume" }, { kind: "nothing" }, closing.cameraId);
    } else await this.resume();
  }

  /** The page goes away: what the hand said is done without waiting. */
  leave(): void {
    if (this.#closing !== null) void this.#close();
  }

  /** A key's action; true when it was one of the hand's, whether or not the watch has a use for it now. */
  act(action: KeyAction): boolean {
    const phase = this.#options.watch()?.phase ?? null;
    const isOver = phase === null || phase === "idle" || phase === "finished";
    switch (action) {
      case "startOrResume":
        if (phase === "paused" && !this.isClosing) void this.resume();
        else if (isOver && phase !== null) void this.start();
        return true;
      case "pause":
        if (!isOver && phase !== "paused") this.ask("pause");
        return true;
      case "stop":
        if (!isOver) this.ask("stop");
        return true;
      default:
        return false;
    }
  }

  async #countDown(): Promise<void> {
    if (this.#closing === null) return;
    const secondsLeft = Math.ceil((this.#closing.closesAtMs - performance.now()) / 1000);
    if (secondsLeft > 0) this.said = { kind: "closing", secondsLeft };
    else await this.#close();
  }

  async #close(): Promise<void> {
    const cameraId = this.#closing?.cameraId;
    this.#endCountDown();
    if (cameraId !== undefined) await this.#send({ kind: "stop" }, { kind: "nothing" }, cameraId);
  }

  #endCountDown(): void {
    clearInterval(this.#timer);
    this.#closing = null;
  }

  async #send(order: HandOrder, after: HandSays, of?: string): Promise<boolean> {
    const cameraId = of ?? this.#options.watch()?.cameraId;
    if (cameraId === undefined || this.#isBusy) return false;
    this.#isBusy = true;
    try {
      await this.#options.send(cameraId, order);
      this.said = after;
      return true;
    } catch (thrown) {
      this.said = { kind: "refused", sentence: this.#options.sentenceOf(thrown) };
      return false;
    } finally {
      this.#isBusy = false;
    }
  }
}

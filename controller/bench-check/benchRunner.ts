import { relative } from "node:path";
import type { BenchView } from "../../core/api/benchMessages.ts";
import { asNightError, NightError } from "../../core/errors.ts";
import type { Scheduling } from "../../core/words/timingWords.ts";
import type { UtcMs } from "../../core/units.ts";
import type { Transport } from "../cameras/transport.ts";
import type { ClockOrigin } from "../timing/clock.ts";
import { benchCheck } from "./benchCheck.ts";
import type { BenchFigures } from "./benchFigures.ts";
import { benchRows } from "./benchReport.ts";
import { writeLocalProfile } from "./localProfile.ts";
import { verdictOf } from "./verdict.ts";
import { workingControls } from "./workingControls.ts";

type BenchRunnerParts = {
  readonly dataDir: string;
  readonly origin: ClockOrigin;
  readonly utcMs: () => UtcMs;
  /** How a camera is reached. @throws NightError for one that no cable or network leads to. */
  readonly transportOf: (cameraId: string) => () => Transport;
  /** How the system schedules whatever moves the camera's shutter; null: not known yet. */
  readonly schedulingOf: (cameraId: string) => Scheduling | null;
  /** The check itself; tests put another in its place. */
  readonly check?: typeof benchCheck;
};

/** Runs the bench check for the page: one at a time, in the background, with its progress. */
export class BenchRunner {
  readonly #parts: BenchRunnerParts;
  #view: BenchView = { kind: "none" };
  #running: { abort: AbortController; ended: Promise<void> } | null = null;

  constructor(parts: BenchRunnerParts) {
    this.#parts = parts;
  }

  view(): BenchView {
    return this.#view;
  }

  get isRunning(): boolean {
    return this.#running !== null;
  }

  /** @throws NightError `settings.invalid` while one runs, or as `transportOf` says. */
  start(cameraId: string): BenchView {
    if (this.isRunning) {
      throw new NightError("settings.invalid", "A bench check is running already.");
    }
    const createTransport = this.#parts.transportOf(cameraId);
    const abort = new AbortController();
    this.#view = { kind: "running", cameraId, steps: [] };
    this.#running = { abort, ended: this.#run(cameraId, createTransport, abort.signal) };
    return this.#view;
  }

  /** Ends it early; the shutter is closed first. Resolves when the camera has been released. */
  async stop(): Promise<BenchView> {
    this.#running?.abort.abort();
    await this.#running?.ended;
    return this.#view;
  }

  async #run(
    cameraId: string,
    createTransport: () => Transport,
    signal: AbortSignal,
  ): Promise<void> {
    const { dataDir, origin, check = benchCheck } = this.#parts;
    try {
      const figures = await check({
        ...{ createTransport, origin, signal },
        scheduling: this.#parts.schedulingOf(cameraId),
        controlsFor: (info, usbIds) => workingControls(info, dataDir, usbIds),
        onStep: (sentence) => this.#addStep(cameraId, sentence),
      });
      this.#view = this.#done(cameraId, figures);
    } catch (thrown) {
      this.#view = { kind: "failed", cameraId, sentence: asNightError(thrown).message };
    } finally {
      this.#running = null;
    }
  }

  #addStep(cameraId: string, sentence: string): void {
    const steps = this.#view.kind === "running" ? this.#view.steps : [];
    this.#view = { kind: "running", cameraId, steps: [...steps, sentence] };
  }

  #done(cameraId: string, figures: BenchFigures): BenchView {
    const { dataDir, utcMs } = this.#parts;
    const verdict = verdictOf(figures);
    const words = `${verdict.sentence} ${verdict.next}`;
    // A device that takes no pictures gets no profile.
    if (!figures.offersCapture) return { kind: "failed", cameraId, sentence: words };
    const file = writeLocalProfile(figures, { dataDir, utcMs: utcMs() });
    return {
      kind: "done",
      cameraId,
      rows: benchRows(figures),
      written: relative(dataDir, file),
      sentence: `${words} ${sentenceOf(figures)}`,
    };
  }
}

function sentenceOf({ bulbExcessMs, bulbRemark }: BenchFigures): string {
  if (bulbExcessMs !== null) {
    return `Exposures came out ${bulbExcessMs.toFixed(1)} ms longer than held; the watch takes that off.`;
  }
  return `The shutter's timing stays as it is: ${bulbRemark ?? "bulb could not be measured"}.`;
}

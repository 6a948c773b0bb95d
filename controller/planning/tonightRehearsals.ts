import type { Worker } from "node:worker_threads";
import type { TonightView } from "../../core/api/planMessages.ts";
import { NightError } from "../../core/errors.ts";
import { watchToRehearse } from "../../core/rehearsal/tonight.ts";
import type { TonightResult } from "../../core/rehearsal/tonightResult.ts";
import { startWorker } from "../workers/startWorker.ts";
import type { NightPlan } from "../../core/plan/plan.ts";
import type { TonightWeather } from "../../core/rehearsal/tonightSky.ts";

const SKY_COUNT = 100;

/** Runs one rehearsal of tonight at a time, each in a thread of its own. */
export class TonightRehearsals {
  #worker: Worker | null = null;
  #view: TonightView = { kind: "none" };
  #startedCount = 0;
  readonly #listeners = new Set<(view: TonightView) => void>();

  view(): TonightView {
    return this.#view;
  }

  /** Calls the listener on every change; returns the way to stop listening. */
  onChange(listener: (view: TonightView) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /**
   * Starts a rehearsal; one that still runs is given up.
   *
   * @throws NightError `settings.invalid` when the night is too light for a watch.
   */
  start(job: TonightJob): TonightView {
    watchToRehearse(job.plan);
    void this.#worker?.terminate();
    this.#startedCount += 1;
    const id = `tonight-${this.#startedCount}`;
    const worker = startWorker(new URL("./tonightWorker.ts", import.meta.url), { workerData: job });
    this.#worker = worker;
    this.#change({ kind: "running", id, doneCount: 0, skyCount: SKY_COUNT });
    const ifCurrent = (view: TonightView): void => {
      if (this.#worker === worker) this.#change(view);
    };
    worker.on("message", (report: TonightReport) => ifCurrent(viewOf(id, report)));
    worker.on("error", (error) => ifCurrent({ kind: "failed", id, sentence: error.message }));
    worker.on("exit", () => {
      if (this.#worker !== worker) return;
      this.#worker = null;
      if (this.#view.kind === "running") {
        this.#change({ kind: "failed", id, sentence: "The rehearsal broke off." });
      }
    });
    return this.#view;
  }

  /** Resolves with the result of the running rehearsal; rejects with its sentence. */
  finished(onProgress: (doneCount: number) => void = () => undefined): Promise<TonightResult> {
    return new Promise((resolve, reject) => {
      const look = (view: TonightView): void => {
        if (view.kind === "running") return onProgress(view.doneCount);
        stop();
        if (view.kind === "done") resolve(view.result);
        else {
          const sentence = view.kind === "failed" ? view.sentence : "No rehearsal was started.";
          reject(new NightError("settings.invalid", sentence));
        }
      };
      const stop = this.onChange(look);
      look(this.#view);
    });
  }

  /** Gives up what still runs. */
  async close(): Promise<void> {
    const worker = this.#worker;
    this.#worker = null;
    await worker?.terminate();
  }

  #change(view: TonightView): void {
    this.#view = view;
    for (const listener of this.#listeners) listener(view);
  }
}

function viewOf(id: string, report: TonightReport): TonightView {
  switch (report.kind) {
    case "progress":
      return { kind: "running", id, doneCount: report.doneCount, skyCount: SKY_COUNT };
    case "done":
      return { kind: "done", id, result: report.result };
    case "failed":
      return { kind: "failed", id, sentence: report.sentence };
  }
}

/** What a rehearsal's thread is started with. */
export type TonightJob = {
  readonly plan: NightPlan;
  readonly weather: TonightWeather;
  readonly seed: number;
};

/** What it tells. */
export type TonightReport =
  | { readonly kind: "progress"; readonly doneCount: number }
  | { readonly kind: "done"; readonly result: TonightResult }
  | { readonly kind: "failed"; readonly sentence: string };

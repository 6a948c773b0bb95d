import type { JobState } from "../../core/api/workProgress.ts";
import { NightError } from "../../core/errors.ts";
import { startDeliverProcess, type DeliverLine, type DeliverProcess } from "./deliverProcess.ts";

/** What every piece of work on a night's files says of itself. */
type Job = { readonly jobId: string; readonly nightId: string; readonly state: JobState };

type Entry<J extends Job> = { job: J; process: DeliverProcess | null };

/** How one kind of work is called, and what changes in it as it goes on. */
type JobRules<J extends Job> = {
  /** Its ids are this word and a number. */
  readonly prefix: string;
  /** What it is called in a sentence, as in "delivery". */
  readonly noun: string;
  readonly afterLine: (job: J, line: DeliverLine) => Partial<J>;
  /** @param sentence  What went wrong; null: nothing. */
  readonly afterEnd: (job: J, sentence: string | null) => Partial<J>;
  readonly afterCancel: (job: J) => Partial<J>;
};

/**
 * Work on nights' files, for the page: each piece is a process of its own at low priority, the same
 * command that runs by hand. Which may run beside which is for the caller to say.
 */
export class ProcessJobs<J extends Job> {
  readonly #rules: JobRules<J>;
  readonly #entries = new Map<string, Entry<J>>();
  readonly #listeners = new Set<(job: J) => void>();
  #nextJob = 1;

  constructor(rules: JobRules<J>) {
    this.#rules = rules;
  }

  /** Calls the listener on every change of a piece of work; returns the way to stop listening. */
  subscribe(listener: (job: J) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** All of a night's, in the order in which they were started. */
  of(nightId: string): readonly J[] {
    return this.#jobs.filter((job) => job.nightId === nightId);
  }

  running(): J | null {
    return this.#jobs.find((job) => job.state === "running") ?? null;
  }

  /** @throws NightError `archive.not_found`. */
  job(jobId: string): J {
    return this.#entry(jobId).job;
  }

  /** @param argv  What the command is given. */
  start(describe: (jobId: string) => J, argv: readonly string[]): J {
    const job = describe(`${this.#rules.prefix}-${this.#nextJob}`);
    this.#nextJob += 1;
    const entry: Entry<J> = { job, process: null };
    this.#entries.set(job.jobId, entry);
    entry.process = startDeliverProcess(argv, {
      line: (line) => this.#change(entry, this.#rules.afterLine(entry.job, line)),
      end: (sentence) => {
        entry.process = null;
        if (entry.job.state !== "running") return;
        const state: JobState = sentence === null ? "finished" : "failed";
        this.#change(entry, { ...this.#rules.afterEnd(entry.job, sentence), state });
      },
    });
    return job;
  }

  /** Ends it in order; what it has made stays. */
  cancel(jobId: string): J {
    const entry = this.#entry(jobId);
    if (entry.job.state === "running") {
      this.#change(entry, { ...this.#rules.afterCancel(entry.job), state: "cancelled" });
      entry.process?.stop();
    }
    return entry.job;
  }

  /** Ends what runs. */
  close(): void {
    for (const { process: running } of this.#entries.values()) running?.stop();
    this.#listeners.clear();
  }

  get #jobs(): readonly J[] {
    return [...this.#entries.values()].map(({ job }) => job);
  }

  #entry(jobId: string): Entry<J> {
    const entry = this.#entries.get(jobId);
    if (entry !== undefined) return entry;
    throw new NightError("archive.not_found", `There is no ${this.#rules.noun} ${jobId}.`);
  }

  #change(entry: Entry<J>, change: Partial<J>): void {
    if (Object.keys(change).length === 0) return;
    entry.job = { ...entry.job, ...change };
    for (const listener of this.#listeners) listener(entry.job);
  }
}

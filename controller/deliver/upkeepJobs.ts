import { existsSync } from "node:fs";
import { isAbsolute, join, resolve } from "node:path";
import type { UpkeepJob, UpkeepOrder, PruneOutlook } from "../../core/api/upkeepMessages.ts";
import { NightError } from "../../core/errors.ts";
import { CATALOGUE_FILE, Catalogue } from "../archive/catalogue.ts";
import { NIGHTS_FOLDER } from "../archive/nightFolder.ts";
import { pruneFiles } from "../archive/pruneFiles.ts";
import { startDeliverProcess, type DeliverProcess } from "./deliverProcess.ts";

type Running = { job: UpkeepJob; process: DeliverProcess | null };

/** What a long list of altered files is cut to; the outcome says how many there are. */
const SENTENCES_MAX = 200;

/**
 * Copying, checking and pruning of nights, for the page: each is a process of its own at low
 * priority, the same command that runs by hand, one at a time.
 */
export class UpkeepJobs {
  readonly #dataDir: string;
  readonly #isWatched: (nightId: string) => boolean;
  readonly #jobs = new Map<string, Running>();
  #nextJob = 1;

  /** @param options.isWatched  Whether a watch adds frames to the night now. */
  constructor(options: { dataDir: string; isWatched: (nightId: string) => boolean }) {
    this.#dataDir = options.dataDir;
    this.#isWatched = options.isWatched;
  }

  jobs(nightId: string): readonly UpkeepJob[] {
    return [...this.#jobs.values()].map(({ job }) => job).filter((job) => job.nightId === nightId);
  }

  /** What a rule would delete; deletes nothing. */
  async outlook(nightId: string, rule: PruneOutlook["rule"]): Promise<PruneOutlook> {
    const catalogue = Catalogue.open(this.#nightDir(nightId), { readOnly: true });
    try {
      const { frameIndices, bytes } = await pruneFiles(catalogue, rule, null);
      return { rule, previewCount: frameIndices.length, bytes };
    } finally {
      catalogue.close();
    }
  }

  /** @throws NightError `settings.invalid` with one sentence for what cannot be done now. */
  async start(nightId: string, order: UpkeepOrder): Promise<UpkeepJob> {
    const nightDir = this.#nightDir(nightId);
    await this.#check(nightId, order);
    if ([...this.#jobs.values()].some(({ job }) => job.state === "running")) {
      throw new NightError("settings.invalid", "Files are being worked on; wait for it to end.");
    }
    const jobId = `upkeep-${this.#nextJob}`;
    this.#nextJob += 1;
    const job: UpkeepJob = {
      ...{ jobId, nightId, order, state: "running" },
      ...{ progress: null, sentences: [] },
    };
    const entry: Running = { job, process: null };
    this.#jobs.set(jobId, entry);
    this.#run(entry, [nightDir, ...argumentsOf(order)]);
    return job;
  }

  /** Ends it; copies that are whole stay, and the same order goes on from them. */
  cancel(jobId: string): UpkeepJob {
    const entry = this.#jobs.get(jobId);
    if (!entry) throw new NightError("archive.not_found", `There is no work called ${jobId}.`);
    if (entry.job.state === "running") {
      this.#change(entry, { state: "cancelled" }, "Stopped by hand.");
      entry.process?.stop();
    }
    return entry.job;
  }

  /** Ends what runs. */
  close(): void {
    for (const { process: running } of this.#jobs.values()) running?.stop();
  }

  async #check(nightId: string, order: UpkeepOrder): Promise<void> {
    if (order.kind === "export") {
      const { targetDir } = order;
      const isAway = resolve(targetDir) !== resolve(this.#dataDir, NIGHTS_FOLDER);
      if (isAbsolute(targetDir) && isAway) return;
      throw new NightError(
        "settings.invalid",
        "Name the whole path of a folder outside the data folder, as in /media/disk/nights.",
      );
    }
    if (order.kind !== "prune") return;
    if (this.#isWatched(nightId)) {
      throw new NightError("settings.invalid", "The watch still adds frames; prune afterwards.");
    }
    const { previewCount } = await this.outlook(nightId, order.rule);
    if (previewCount === order.previewCount) return;
    throw new NightError(
      "settings.invalid",
      `By now ${previewCount} previews would go, not ${order.previewCount}; nothing was deleted.`,
    );
  }

  #run(entry: Running, argv: readonly string[]): void {
    entry.process = startDeliverProcess(argv, {
      line: (line) => {
        if (line.kind === "progress") this.#change(entry, { progress: line.progress });
        else if (line.kind === "sentence") this.#change(entry, {}, line.sentence);
      },
      end: (sentence) => {
        entry.process = null;
        if (entry.job.state !== "running") return;
        if (sentence === null) this.#change(entry, { state: "finished" });
        else this.#change(entry, { state: "failed" }, sentence);
      },
    });
  }

  #change(entry: Running, change: Partial<UpkeepJob>, sentence?: string): void {
    const { sentences } = entry.job;
    const all = sentence === undefined ? sentences : [...sentences, sentence];
    entry.job = { ...entry.job, ...change, sentences: all.slice(-SENTENCES_MAX) };
  }

  #nightDir(nightId: string): string {
    const nightDir = join(this.#dataDir, NIGHTS_FOLDER, nightId);
    const isName = !/[/\\]/.test(nightId) && nightId !== "." && nightId !== "..";
    if (isName && existsSync(join(nightDir, CATALOGUE_FILE))) return nightDir;
    throw new NightError("archive.not_found", `There is no night ${nightId}.`);
  }
}

function argumentsOf(order: UpkeepOrder): readonly string[] {
  switch (order.kind) {
    case "verify":
      return ["--verify"];
    case "export": {
      const sets = order.setIds.length === 0 ? [] : ["--set", order.setIds.join(",")];
      return ["--export", order.targetDir, ...sets];
    }
    case "prune":
      return ["--prune", order.rule, "--yes"];
  }
}

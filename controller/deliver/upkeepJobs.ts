import { basename, isAbsolute, join, resolve } from "node:path";
import type { UpkeepJob, UpkeepOrder, PruneOutlook } from "../../core/api/upkeepMessages.ts";
import { NightError } from "../../core/errors.ts";
import { Catalogue } from "../archive/catalogue.ts";
import { nightDirOf } from "../archive/findNight.ts";
import { NIGHTS_FOLDER } from "../archive/nightFolder.ts";
import { pruneOutlook } from "../archive/pruneFiles.ts";
import { holdWithin } from "./allowedFolders.ts";
import { ProcessJobs } from "./processJobs.ts";

/** What a long list of altered files is cut to; the outcome says how many there are. */
const SENTENCES_MAX = 200;

/**
 * Copying, checking and pruning of nights, for the page: each is a process of its own at low
 * priority, the same command that runs by hand, one at a time.
 */
export class UpkeepJobs {
  readonly #dataDir: string;
  readonly #exportDirs: readonly string[];
  readonly #isWatched: (nightId: string) => boolean;
  readonly #jobs = new ProcessJobs<UpkeepJob>({
    ...{ prefix: "upkeep", noun: "work called" },
    afterLine: (job, line) => {
      if (line.kind === "progress") return { progress: line.progress };
      return line.kind === "sentence" ? withSentence(job, line.sentence) : {};
    },
    afterEnd: (job, sentence) => (sentence === null ? {} : withSentence(job, sentence)),
    afterCancel: (job) => withSentence(job, "Stopped by hand."),
  });

  /**
   * @param options.exportDirs  Folders outside the data folder that the page may copy into.
   * @param options.isWatched  Whether a watch adds frames to the night now.
   */
  constructor(options: {
    dataDir: string;
    exportDirs: readonly string[];
    isWatched: (nightId: string) => boolean;
  }) {
    this.#dataDir = options.dataDir;
    this.#exportDirs = options.exportDirs;
    this.#isWatched = options.isWatched;
  }

  jobs(nightId: string): readonly UpkeepJob[] {
    return this.#jobs.of(nightId);
  }

  /** What a rule would delete; deletes nothing. */
  async outlook(nightId: string, rule: PruneOutlook["rule"]): Promise<PruneOutlook> {
    const catalogue = Catalogue.open(nightDirOf(this.#dataDir, nightId), { readOnly: true });
    try {
      const { frameIndices, bytes } = pruneOutlook(catalogue, rule);
      return { rule, previewCount: frameIndices.length, bytes };
    } finally {
      catalogue.close();
    }
  }

  /** @throws NightError `settings.invalid` with one sentence for what cannot be done now. */
  async start(nightId: string, order: UpkeepOrder): Promise<UpkeepJob> {
    const nightDir = nightDirOf(this.#dataDir, nightId);
    await this.#check({ nightId, nightDir }, order);
    if (this.#jobs.running() !== null) {
      throw new NightError("settings.invalid", "Files are being worked on; wait for it to end.");
    }
    return this.#jobs.start(
      (jobId) => ({
        ...{ jobId, nightId, order, state: "running" },
        ...{ progress: null, sentences: [] },
      }),
      [nightDir, ...argumentsOf(order)],
    );
  }

  /** Ends it; copies that are whole stay, and the same order goes on from them. */
  cancel(jobId: string): UpkeepJob {
    return this.#jobs.cancel(jobId);
  }

  /** Ends what runs. */
  close(): void {
    this.#jobs.close();
  }

  async #check(
    { nightId, nightDir }: { readonly nightId: string; readonly nightDir: string },
    order: UpkeepOrder,
  ): Promise<void> {
    if (order.kind === "export") return this.#checkTarget(nightDir, order.targetDir);
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

  #checkTarget(nightDir: string, targetDir: string): void {
    const isAway = resolve(targetDir) !== resolve(this.#dataDir, NIGHTS_FOLDER);
    if (!isAbsolute(targetDir) || !isAway) {
      throw new NightError(
        "settings.invalid",
        "Name the whole path of a folder other than the one that the nights are in, as in /media/disk/nights.",
      );
    }
    holdWithin(join(targetDir, basename(nightDir)), [this.#dataDir, ...this.#exportDirs]);
  }
}

function withSentence({ sentences }: UpkeepJob, sentence: string): Pick<UpkeepJob, "sentences"> {
  return { sentences: [...sentences, sentence].slice(-SENTENCES_MAX) };
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

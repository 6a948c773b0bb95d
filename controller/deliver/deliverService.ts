import { existsSync, realpathSync } from "node:fs";
import { join, relative, resolve } from "node:path";
import type {
  DeliverJob,
  DeliverOrder,
  DeliverProgress,
  MorningView,
} from "../../core/api/deliverMessages.ts";
import { NightError } from "../../core/errors.ts";
import { NO_EDITS, type SetEdits } from "../../core/frames/frameSets.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { Catalogue } from "../archive/catalogue.ts";
import { nightDirOf } from "../archive/findNight.ts";
import type { FrameQuery } from "../archive/frameRows.ts";
import { SET_EDITS_KEY } from "../archive/stateKeys.ts";
import { holdWithin, isWithin } from "./allowedFolders.ts";
import { findFrames } from "./upkeep.ts";
import { keepersOfCatalogue } from "./nightKeepers.ts";
import { readNight } from "./nightToDeliver.ts";
import { ProcessJobs } from "./processJobs.ts";

const DELIVER_FOLDER = "deliver";

/**
 * Deliveries and the morning's view, for the page.
 *
 * Each delivery is a process of its own at low priority, the same command that runs by hand; one
 * runs at a time, so that a night in progress keeps its machine. Catalogues are opened for as long
 * as a question takes.
 */
export class DeliverService {
  readonly #dataDir: string;
  readonly #jobs = new ProcessJobs<DeliverJob>({
    ...{ prefix: "delivery", noun: "delivery" },
    afterLine: (_job, line) => {
      // A delivery's progress says its stage as well.
      if (line.kind === "progress") return { progress: line.progress as DeliverProgress };
      return line.kind === "result" ? { result: line.result } : {};
    },
    afterEnd: (_job, sentence) => ({ sentence }),
    afterCancel: () => ({ sentence: "Stopped by hand." }),
  });

  constructor(options: { dataDir: string }) {
    this.#dataDir = options.dataDir;
  }

  /** Calls the listener on every change of a delivery; returns the way to stop listening. */
  subscribe(listener: (job: DeliverJob) => void): () => void {
    return this.#jobs.subscribe(listener);
  }

  /** @throws NightError `archive.not_found`, `archive.newer`, `archive.corrupt`. */
  morning(nightId: string): MorningView {
    return this.#with(nightId, { readOnly: true }, (catalogue) => {
      const { frames, sets } = readNight(catalogue);
      return {
        nightId,
        frameCount: frames.length,
        sets,
        edits: catalogue.getState<SetEdits>(SET_EDITS_KEY) ?? NO_EDITS,
        keepers: keepersOfCatalogue(catalogue, frames),
        jobs: this.jobs(nightId),
      };
    });
  }

  jobs(nightId: string): readonly DeliverJob[] {
    return this.#jobs.of(nightId);
  }

  /**
   * @throws NightError `deliver.failed` while another delivery runs; `settings.invalid` where a
   *   link leads out of the data folder.
   */
  start(nightId: string, order: DeliverOrder): DeliverJob {
    const nightDir = nightDirOf(this.#dataDir, nightId);
    const running = this.#jobs.running();
    if (running !== null) {
      throw new NightError(
        "deliver.failed",
        `A delivery of ${running.nightId} is running; wait for it or cancel it.`,
      );
    }
    // A delivery writes beside the night's own files, too: what is said of a raw file.
    holdWithin(nightDir, [this.#dataDir]);
    return this.#jobs.start(
      (jobId) => ({
        ...{ jobId, nightId, order, state: "running" },
        ...{ progress: null, sentence: null, result: null },
      }),
      argumentsOf(nightDir, order),
    );
  }

  /** Ends a delivery in order; what it has made stays, and `resume` goes on from there. */
  cancel(jobId: string): void {
    this.#jobs.cancel(jobId);
  }

  /** Begins the delivery again where it stopped. */
  resume(jobId: string): DeliverJob {
    const job = this.#jobs.job(jobId);
    if (job.state === "running") return job;
    return this.start(job.nightId, { ...job.order, resume: true });
  }

  /** The photographer's word on a frame; null takes it back. */
  setPick(
    nightId: string,
    frame: { cameraId: string; frameIndex: number },
    word: { pick: "keep" | "leave"; rating: number | null } | null,
  ): void {
    this.#with(nightId, { readOnly: false }, (catalogue) => {
      if (catalogue.frame(frame.cameraId, frame.frameIndex) === null) {
        throw new NightError("archive.not_found", `There is no frame ${frame.frameIndex}.`);
      }
      catalogue.setPick(frame.cameraId, frame.frameIndex, word);
    });
  }

  /** Cuts, joins, names and in and out points, as a whole. */
  setEdits(nightId: string, edits: SetEdits): void {
    this.#with(nightId, { readOnly: false }, (catalogue) => {
      catalogue.setState(SET_EDITS_KEY, edits);
      catalogue.flush();
    });
  }

  /** Frames by time and brightness, or those in surges. */
  find(nightId: string, query: FrameQuery | "surge"): readonly FrameRecord[] {
    return this.#with(nightId, { readOnly: true }, (catalogue) =>
      query === "surge" ? findFrames(catalogue, "surge") : catalogue.find(query),
    );
  }

  /** Absolute path of a delivered file; null when there is none, or when it lies elsewhere. */
  filePath(nightId: string, path: string): string | null {
    const folder = join(nightDirOf(this.#dataDir, nightId), DELIVER_FOLDER);
    const absolute = resolve(folder, path);
    const inside = relative(folder, absolute);
    if (inside.startsWith("..") || inside === "" || resolve(inside) === inside) return null;
    if (!existsSync(absolute)) return null;
    return isWithin(realpathSync(folder), realpathSync(absolute)) ? absolute : null;
  }

  /** Ends what runs. */
  close(): void {
    this.#jobs.close();
  }

  #with<T>(nightId: string, options: { readOnly: boolean }, ask: (catalogue: Catalogue) => T): T {
    const catalogue = Catalogue.open(nightDirOf(this.#dataDir, nightId), options);
    try {
      return ask(catalogue);
    } finally {
      catalogue.close();
    }
  }
}

/** The command line that an order is given to the command with. */
function argumentsOf(nightDir: string, order: DeliverOrder): string[] {
  const flags = {
    keogram: order.keogram,
    "star-trail": order.starTrail,
    "contact-sheet": order.contactSheet,
    report: order.report,
    "no-extras": !(order.keogram || order.starTrail || order.contactSheet || order.report),
    sidecars: order.sidecars,
    resume: order.resume,
  };
  const time = (utcMs: number): string => new Date(utcMs).toISOString();
  const { widthPx, heightPx } = order.videoBox;
  return [
    nightDir,
    ...["--out", join(nightDir, DELIVER_FOLDER)],
    ...["--fps", String(order.framesPerSecond), "--size", `${widthPx}x${heightPx}`],
    ...["--sequence", order.sequence, "--video", order.videos.join(",") || "none"],
    ...(order.setIds.length === 0 ? [] : ["--set", order.setIds.join(",")]),
    ...(order.fromUtcMs === null ? [] : ["--from", time(order.fromUtcMs)]),
    ...(order.toUtcMs === null ? [] : ["--to", time(order.toUtcMs)]),
    ...Object.entries(flags).flatMap(([name, isOn]) => (isOn ? [`--${name}`] : [])),
  ];
}

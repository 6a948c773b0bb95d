import type { JobState, WorkProgress } from "./workProgress.ts";

/** Which previews may go: those of sentinel pace, or all that were not picked by hand. */
export type PruneRuleName = "sentinel" | "unpicked";

/** What is to be done with a night's files. */
export type UpkeepOrder =
  | { readonly kind: "verify" }
  | {
      readonly kind: "export";
      /** Absolute path of a folder; the night's own folder is put into it. */
      readonly targetDir: string;
      /** Frame sets by their id; empty: the whole night. */
      readonly setIds: readonly string[];
    }
  | {
      readonly kind: "prune";
      readonly rule: PruneRuleName;
      /** How many previews the photographer was shown would go; another number stops it. */
      readonly previewCount: number;
    };

/** What a rule would delete; nothing has been deleted. */
export type PruneOutlook = {
  readonly rule: PruneRuleName;
  readonly previewCount: number;
  readonly bytes: number;
};

/** Work on a night's files, as the page shows it. */
export type UpkeepJob = {
  readonly jobId: string;
  readonly nightId: string;
  readonly order: UpkeepOrder;
  readonly state: JobState;
  /** null until the work has begun. */
  readonly progress: WorkProgress | null;
  /** What it has to say so far, in whole sentences; the last one is the outcome. */
  readonly sentences: readonly string[];
};

/** What frames are looked for; null: any. All conditions must hold. */
export type FrameSearch = {
  readonly cameraId: string | null;
  readonly fromUtcMs: number | null;
  readonly toUtcMs: number | null;
  /** Metered sky, cd/m². */
  readonly brighterThanCdM2: number | null;
  readonly darkerThanCdM2: number | null;
  readonly isInSurge: boolean;
};

/** A frame that was found, with what it was found by. */
export type FoundFrame = {
  readonly cameraId: string;
  readonly frameIndex: number;
  readonly openedUtcMs: number;
  readonly skyLuminanceCdM2: number | null;
  readonly hasFile: boolean;
};

/** Frames that were found: how many in all, and the first of them by time. */
export type FoundFrames = { readonly count: number; readonly frames: readonly FoundFrame[] };

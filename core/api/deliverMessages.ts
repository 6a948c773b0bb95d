import type { FrameSet, SetEdits } from "../frames/frameSets.ts";
import type { Keeper } from "../frames/keepers.ts";
import type { JobState, WorkProgress } from "./workProgress.ts";

export type SequenceKind = "jpeg" | "tiff16" | "none";
export type VideoKind = "h264" | "vp9" | "av1";

/** What is to be made of a night. */
export type DeliverOrder = {
  /** Frame sets by their id; empty: all of the night's. */
  readonly setIds: readonly string[];
  /** Only frames opened within; null: from the beginning, to the end. */
  readonly fromUtcMs: number | null;
  readonly toUtcMs: number | null;
  readonly framesPerSecond: 24 | 25 | 30;
  /** Box that the video fits into; the sequence stays full size. */
  readonly videoBox: { readonly widthPx: number; readonly heightPx: number };
  readonly sequence: SequenceKind;
  readonly videos: readonly VideoKind[];
  readonly keogram: boolean;
  readonly starTrail: boolean;
  readonly contactSheet: boolean;
  readonly report: boolean;
  /** XMP files beside the night's own files; raw files always get one. */
  readonly sidecars: boolean;
  /** Go on where an earlier delivery with the same order stopped. */
  readonly resume: boolean;
};

export const DEFAULT_DELIVER_ORDER: DeliverOrder = {
  setIds: [],
  fromUtcMs: null,
  toUtcMs: null,
  framesPerSecond: 25,
  videoBox: { widthPx: 3840, heightPx: 2160 },
  sequence: "jpeg",
  videos: ["h264", "vp9"],
  keogram: true,
  starTrail: true,
  contactSheet: true,
  report: true,
  sidecars: false,
  resume: false,
};

export type DeliverStage =
  "measuring" | "frames" | "video" | "keogram" | "starTrail" | "contactSheet" | "report";

export type DeliverProgress = WorkProgress & { readonly stage: DeliverStage };

/** A file that was made. */
export type DeliveredFile = {
  readonly kind: "sequence" | "video" | "keogram" | "starTrail" | "contactSheet" | "report";
  readonly label: string;
  /** Relative to the delivery's folder; a sequence's is its folder. */
  readonly path: string;
  readonly bytes: number;
  readonly frameCount: number;
};

export type DeliverResult = {
  readonly outDir: string;
  readonly files: readonly DeliveredFile[];
  /** Frames that were left out, and other things worth a sentence. */
  readonly remarks: readonly string[];
};

/** A delivery as the page shows it. */
export type DeliverJob = {
  readonly jobId: string;
  readonly nightId: string;
  readonly order: DeliverOrder;
  readonly state: JobState;
  readonly progress: DeliverProgress | null;
  /** What went wrong, or null. */
  readonly sentence: string | null;
  readonly result: DeliverResult | null;
};

/** The morning's view of a night. */
export type MorningView = {
  readonly nightId: string;
  readonly frameCount: number;
  readonly sets: readonly FrameSet[];
  readonly edits: SetEdits;
  readonly keepers: readonly Keeper[];
  readonly jobs: readonly DeliverJob[];
};

/** One line of what a bench check found: what was looked at, and what was found, in plain words. */
export type BenchRow = { readonly name: string; readonly words: string };

/** How the bench check of a camera stands. */
export type BenchView =
  | { readonly kind: "none" }
  | {
      readonly kind: "running";
      readonly cameraId: string;
      /** What was done so far, in whole sentences; the last is being done. */
      readonly steps: readonly string[];
    }
  | {
      readonly kind: "done";
      readonly cameraId: string;
      readonly rows: readonly BenchRow[];
      /** The profile that was written, relative to the data folder. */
      readonly written: string;
      /** What the next watch makes of it. */
      readonly sentence: string;
    }
  | { readonly kind: "failed"; readonly cameraId: string; readonly sentence: string };

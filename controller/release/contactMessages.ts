import type { ErrorCode } from "../../core/errors.ts";
import type { Scheduling } from "../../core/words/timingWords.ts";
import type { ReleaseTarget } from "./releaseTarget.ts";

/** What the contact's owner process is asked for. Times are real milliseconds, as `realMs()` counts. */
export type ToContact =
  | { readonly kind: "take"; readonly target: ReleaseTarget }
  /** Close the contact at a moment and open it again after so long, whatever happens meanwhile. */
  | {
      readonly kind: "press";
      readonly pressId: number;
      readonly atMs: number;
      readonly holdMs: number;
    }
  /** Open the contact of this press now. */
  | { readonly kind: "release"; readonly pressId: number }
  | { readonly kind: "end" };

/** What the owner process tells. */
export type FromContact =
  /** With what the system granted the owner's process. */
  | { readonly kind: "taken"; readonly scheduling: Scheduling }
  | { readonly kind: "pressed"; readonly pressId: number; readonly atMs: number }
  | {
      readonly kind: "released";
      readonly pressId: number;
      readonly atMs: number;
      /** From when opening was due until it was begun, real milliseconds; null: it was asked for. */
      readonly lateMs: number | null;
    }
  | {
      readonly kind: "failed";
      readonly code: ErrorCode;
      readonly sentence: string;
      /** The device is lost; a new process has to take it again. */
      readonly gone: boolean;
      readonly pressId: number | null;
    };

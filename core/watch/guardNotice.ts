import type { UtcMs } from "../units.ts";

/** Something the program watches over, with what it does about it. */
export type GuardNotice = {
  readonly guard:
    | "battery"
    | "storage"
    | "cold"
    | "dew"
    | "focus"
    | "dawn"
    | "camera"
    | "clock"
    | "timing"
    | "sleep";
  readonly level: "note" | "warning" | "stop";
  /** What happened, what Nattvakt does about it, what the photographer can do. */
  readonly sentence: string;
  readonly sinceUtcMs: UtcMs;
};

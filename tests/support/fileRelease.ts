import type { SerialRelease } from "../../controller/release/releaseTarget.ts";

/** A release whose "port" is a log that `fileContactMain.ts` writes. */
export function fileRelease(path: string): SerialRelease {
  return {
    kind: "serial",
    path,
    line: "dtr",
    closedAt: "high",
    halfLine: null,
    halfPressMs: 0,
  };
}

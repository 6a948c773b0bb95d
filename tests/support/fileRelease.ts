import { existsSync, readFileSync } from "node:fs";
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

/** One movement of the contact: "open", "half" or "closed", in real time. */
export type ContactMovement = { readonly word: string; readonly atMs: number };

/** The movements that the log holds so far, oldest first. */
export function contactMovements(log: string): readonly ContactMovement[] {
  if (!existsSync(log)) return [];
  return readFileSync(log, "utf8")
    .trim()
    .split("\n")
    .map((line) => ({ word: line.split(" ")[0]!, atMs: Number(line.split(" ")[1]) }));
}

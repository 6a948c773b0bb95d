import type { FileWork } from "../../controller/archive/keptFiles.ts";

/** Work over files that nobody watches or stops. */
export const UNWATCHED: FileWork = {
  onFile: () => undefined,
  signal: new AbortController().signal,
};

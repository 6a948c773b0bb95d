import type { Log } from "../../controller/log.ts";

/** A log that keeps nothing. */
export const SILENT_LOG: Log = { info: () => {}, warn: () => {}, error: () => {} };

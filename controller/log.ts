import { mkdirSync } from "node:fs";
import { join } from "node:path";
import pino from "pino";
import { LogFile } from "./logFile.ts";

/** The log is for people: named events with fields, the course of the night at `info`. */
export type Log = {
  info(event: string, fields?: Readonly<Record<string, unknown>>): void;
  warn(event: string, fields?: Readonly<Record<string, unknown>>): void;
  error(event: string, fields?: Readonly<Record<string, unknown>>): void;
};

/** Writes one JSON line an event to `DATA/nattvakt.log`, never waiting for the disk. */
export function openLog(dataDir: string): {
  readonly log: Log;
  readonly close: () => Promise<void>;
} {
  mkdirSync(dataDir, { recursive: true });
  const file = new LogFile(join(dataDir, "nattvakt.log"));
  const logger = pino({ base: null, timestamp: pino.stdTimeFunctions.isoTime }, file);
  return {
    log: {
      info: (event, fields = {}) => logger.info({ event, ...fields }),
      warn: (event, fields = {}) => logger.warn({ event, ...fields }),
      error: (event, fields = {}) => logger.error({ event, ...fields }),
    },
    close: () => file.close(),
  };
}

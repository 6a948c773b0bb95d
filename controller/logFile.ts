import { statSync } from "node:fs";
import { appendFile, rename } from "node:fs/promises";

/** How large the log's file grows, and how many older ones are kept beside it. */
type LogLimits = { readonly bytesMax: number; readonly olderCountMax: number };

/** A night's log at `info` is a few hundred kilobytes: enough for a winter. Judgement. */
const LOG_LIMITS: LogLimits = { bytesMax: 8 * 1024 * 1024, olderCountMax: 4 };

/** Lines that wait for a slow or full disk; beyond it the newest are dropped and counted. */
const WAITING_BYTES_MAX = 1024 * 1024;
/** Closing waits no longer than this for a disk that hangs. */
const CLOSE_MS_MAX = 2_000;

/**
 * A file of lines that never makes anybody wait: lines are written behind the caller's back, and
 * what a full disk refuses is lost, counted and reported with the next line that it takes.
 */
export class LogFile {
  readonly #path: string;
  readonly #limits: LogLimits;
  #waiting: string[] = [];
  #waitingBytes = 0;
  #lostCount = 0;
  #bytes: number;
  #writing: Promise<void> | null = null;

  constructor(path: string, limits: LogLimits = LOG_LIMITS) {
    this.#path = path;
    this.#limits = limits;
    this.#bytes = statSync(path, { throwIfNoEntry: false })?.size ?? 0;
  }

  /** Takes a line with its end. */
  write(line: string): void {
    if (this.#waitingBytes + line.length > WAITING_BYTES_MAX) {
      this.#lostCount += 1;
      return;
    }
    this.#waiting.push(line);
    this.#waitingBytes += line.length;
    this.#writing ??= this.#drain().finally(() => (this.#writing = null));
  }

  /** Writes what waits; gives up on a disk that is full or hangs. */
  async close(): Promise<void> {
    if (!this.#writing) return;
    let timer: NodeJS.Timeout | undefined;
    const late = new Promise<void>((resolve) => (timer = setTimeout(resolve, CLOSE_MS_MAX)));
    await Promise.race([this.#writing, late]);
    clearTimeout(timer);
  }

  async #drain(): Promise<void> {
    while (this.#waiting.length > 0) {
      const lineCount = this.#waiting.length;
      const lostCount = this.#lostCount;
      const text = this.#takeWaiting();
      try {
        await this.#makeRoom(text.length);
        await appendFile(this.#path, `${lostLine(lostCount)}${text}`);
        this.#bytes += text.length;
        this.#lostCount -= lostCount;
      } catch {
        this.#lostCount += lineCount;
      }
    }
  }

  #takeWaiting(): string {
    const text = this.#waiting.join("");
    this.#waiting = [];
    this.#waitingBytes = 0;
    return text;
  }

  /** A full file becomes the first of the older ones; the last of those is overwritten. */
  async #makeRoom(bytes: number): Promise<void> {
    if (this.#bytes === 0 || this.#bytes + bytes <= this.#limits.bytesMax) return;
    for (let number = this.#limits.olderCountMax; number > 0; number -= 1) {
      const from = number === 1 ? this.#path : this.#older(number - 1);
      await rename(from, this.#older(number)).catch(() => {
        // There are not so many yet.
      });
    }
    this.#bytes = 0;
  }

  #older(number: number): string {
    return `${this.#path}.${number}`;
  }
}

function lostLine(count: number): string {
  return count === 0 ? "" : `${JSON.stringify({ level: 40, event: "log.lines_lost", count })}\n`;
}

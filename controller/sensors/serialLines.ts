import { setTimeout as sleep } from "node:timers/promises";
import { importNative } from "../nativePackages.ts";
import { realMs } from "../timing/clock.ts";

/** As much of a serial port as a sensor needs: bytes come, and it may end. */
export type SensorPort = {
  on(event: "data", listener: (bytes: Uint8Array) => void): unknown;
  on(event: "close" | "error", listener: () => void): unknown;
  close(): void;
};

/** Opens a port and resolves once bytes may come. */
export type OpenSensorPort = (path: string, baudRate: number) => Promise<SensorPort>;

export type SerialLinesOptions = {
  readonly path: string;
  readonly baudRate: number;
  /** Silent for so long, the sensor counts as gone. */
  readonly silenceMsMax: number;
  readonly onLine: (line: string) => void;
  /** The sensor came, came back, or went. */
  readonly onPresence: (isThere: boolean) => void;
  readonly open?: OpenSensorPort;
  /** Waits real milliseconds; rejects when the signal ends it. */
  readonly wait?: (pauseMs: number, signal: AbortSignal) => Promise<void>;
};

/** Pauses before the next attempt; the last one repeats, so that a night of attempts costs nothing. */
const PAUSES_MS = [1_000, 2_000, 5_000, 10_000, 30_000];
/** Longer than any line of these protocols; what is longer is noise. */
const LINE_BYTES_MAX = 512;

/**
 * Reads lines from a serial sensor that may be unplugged, fall silent and come back at any time;
 * nothing of that ever troubles the night.
 */
export class SerialLines {
  readonly #options: SerialLinesOptions;
  readonly #abort = new AbortController();
  readonly #loop: Promise<void>;
  #isThere = false;

  constructor(options: SerialLinesOptions) {
    this.#options = options;
    this.#loop = this.#run();
  }

  get isThere(): boolean {
    return this.#isThere;
  }

  async close(): Promise<void> {
    this.#abort.abort();
    await this.#loop;
  }

  async #run(): Promise<void> {
    const { signal } = this.#abort;
    const wait = this.#options.wait ?? plainWait;
    for (let attempt = 0; !signal.aborted; attempt += 1) {
      const hasSpoken = await this.#readUntilGone();
      if (hasSpoken) attempt = 0;
      if (signal.aborted) return;
      this.#note("gone");
      const pauseMs = PAUSES_MS[Math.min(attempt, PAUSES_MS.length - 1)]!;
      await wait(pauseMs, signal).catch(() => undefined);
    }
  }

  /** @returns whether the sensor has said anything. */
  async #readUntilGone(): Promise<boolean> {
    const { path, baudRate, silenceMsMax, open = openSerialPort } = this.#options;
    const { signal } = this.#abort;
    let port: SensorPort;
    try {
      port = await open(path, baudRate);
    } catch {
      // Not plugged in, or not yet: tried again later.
      return false;
    }
    let heardMs = realMs();
    let hasSpoken = false;
    let rest = "";
    await new Promise<void>((resolve) => {
      const look = setInterval(
        () => realMs() - heardMs > silenceMsMax && resolve(),
        Math.max(10, silenceMsMax / 4),
      );
      const end = (): void => {
        clearInterval(look);
        resolve();
      };
      signal.addEventListener("abort", end, { once: true });
      port.on("close", end);
      port.on("error", end);
      port.on("data", (bytes) => {
        heardMs = realMs();
        const [lines, left] = split(rest + Buffer.from(bytes).toString("latin1"));
        rest = left;
        if (lines.length > 0 && !signal.aborted) {
          hasSpoken = true;
          this.#note("there");
        }
        for (const line of lines) if (!signal.aborted) this.#options.onLine(line);
      });
      if (signal.aborted) end();
    });
    port.close();
    return hasSpoken;
  }

  #note(sensor: "there" | "gone"): void {
    const isThere = sensor === "there";
    if (this.#isThere === isThere) return;
    this.#isThere = isThere;
    this.#options.onPresence(isThere);
  }
}

/** Whole lines, and the beginning of the next one. */
function split(text: string): readonly [lines: readonly string[], rest: string] {
  const lines = text.split(/\r\n|\n|\r/);
  const rest = lines.pop() ?? "";
  const whole = lines.filter((line) => line !== "" && line.length <= LINE_BYTES_MAX);
  return [whole, rest.length > LINE_BYTES_MAX ? "" : rest];
}

const openSerialPort: OpenSensorPort = async (path, baudRate) => {
  const { SerialPort } = await importNative("serialport", () => import("serialport"));
  return await new Promise((resolve, reject) => {
    const port = new SerialPort({ path, baudRate, autoOpen: false });
    port.open((error) => {
      if (error) return reject(error);
      resolve({
        on: (event: string, listener: (bytes: Uint8Array) => void) => port.on(event, listener),
        close: () => port.isOpen && port.close(() => undefined),
      });
    });
  });
};

async function plainWait(pauseMs: number, signal: AbortSignal): Promise<void> {
  await sleep(pauseMs, undefined, { signal });
}

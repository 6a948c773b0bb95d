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

/** Why nothing that this sensor says arrives. */
export type SensorTrouble =
  | { readonly kind: "absent" }
  | { readonly kind: "denied" }
  | { readonly kind: "inUse" }
  | { readonly kind: "refused"; readonly why: string }
  /** The port is open and no byte comes. */
  | { readonly kind: "silent" }
  /** Bytes come, and none of them is what this sensor says. */
  | { readonly kind: "foreign" };

export type SerialLinesOptions = {
  readonly path: string;
  readonly baudRate: number;
  /** Silent for so long, the sensor counts as gone. */
  readonly silenceMsMax: number;
  /** Whether a line is one that this kind of sensor says. */
  readonly isOurs: (line: string) => boolean;
  readonly onLine: (line: string) => void;
  /** The sensor came, came back, or went. */
  readonly onPresence: (isThere: boolean) => void;
  /** Each trouble once, until the sensor speaks. */
  readonly onTrouble: (trouble: SensorTrouble) => void;
  /** How long an open port may say nothing of use before that is a trouble, real milliseconds. */
  readonly verdictMs?: number;
  readonly open?: OpenSensorPort;
  /** Waits real milliseconds; rejects when the signal ends it. */
  readonly wait?: (pauseMs: number, signal: AbortSignal) => Promise<void>;
};

/** Pauses before the next attempt; the last one repeats, so that a night of attempts costs nothing. */
const PAUSES_MS = [1_000, 2_000, 5_000, 10_000, 30_000];
/** Longer than any line of these protocols; what is longer is noise. */
const LINE_BYTES_MAX = 512;
/** Receivers and meters speak every second, the climate sensor of our own protocol every two. */
const VERDICT_MS = 4_500;

/**
 * Reads lines from a serial sensor that may be unplugged, fall silent and come back at any time;
 * nothing of that ever troubles the night.
 */
export class SerialLines {
  readonly #options: SerialLinesOptions;
  readonly #abort = new AbortController();
  readonly #loop: Promise<void>;
  #isThere = false;
  /** The last trouble that was reported; null: none since the sensor spoke. */
  #trouble: SensorTrouble["kind"] | null = null;

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
    } catch (thrown) {
      // Not plugged in, or not yet: tried again later.
      this.#report(troubleOf(thrown));
      return false;
    }
    let heardMs = realMs();
    let hasSpoken = false;
    let isKnown = false;
    let rest = "";
    await new Promise<void>((resolve) => {
      const look = setInterval(
        () => realMs() - heardMs > silenceMsMax && resolve(),
        Math.max(10, silenceMsMax / 4),
      );
      const verdict = setTimeout(() => {
        if (!isKnown) this.#report({ kind: hasSpoken ? "foreign" : "silent" });
      }, this.#options.verdictMs ?? VERDICT_MS);
      const end = (): void => {
        clearInterval(look);
        clearTimeout(verdict);
        resolve();
      };
      signal.addEventListener("abort", end, { once: true });
      port.on("close", end);
      port.on("error", end);
      port.on("data", (bytes) => {
        heardMs = realMs();
        hasSpoken = true;
        const [lines, left] = split(rest + Buffer.from(bytes).toString("latin1"));
        rest = left;
        for (const line of lines) {
          if (signal.aborted) return;
          if (this.#options.isOurs(line)) {
            isKnown = true;
            this.#note("there");
          }
          this.#options.onLine(line);
        }
      });
      if (signal.aborted) end();
    });
    port.close();
    return hasSpoken;
  }

  #report(trouble: SensorTrouble): void {
    if (this.#isThere || this.#trouble === trouble.kind || this.#abort.signal.aborted) return;
    this.#trouble = trouble.kind;
    this.#options.onTrouble(trouble);
  }

  #note(sensor: "there" | "gone"): void {
    const isThere = sensor === "there";
    if (this.#isThere === isThere) return;
    this.#isThere = isThere;
    // Of one that went it is known already that it is not there.
    this.#trouble = isThere ? null : "absent";
    this.#options.onPresence(isThere);
  }
}

/** Why a port did not open, by what the system or the serial library says of it. */
function troubleOf(thrown: unknown): SensorTrouble {
  const why = thrown instanceof Error ? thrown.message : String(thrown);
  if (/ENOENT|ENXIO|ENODEV|no such|file not found|unknown error code 2\b/i.test(why)) {
    return { kind: "absent" };
  }
  if (/EACCES|EPERM|permission|access denied/i.test(why)) return { kind: "denied" };
  if (/EBUSY|EAGAIN|busy|cannot lock|temporarily unavailable/i.test(why)) return { kind: "inUse" };
  return { kind: "refused", why };
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

import { NightError } from "../../core/errors.ts";
import { importNative } from "../nativePackages.ts";
import type { ContactDevice, ContactState } from "./contactDevice.ts";
import type { SerialRelease } from "./releaseTarget.ts";

/** Levels of the two lines; true is high. */
export type LineLevels = { readonly dtr: boolean; readonly rts: boolean };

/** As much of a serial port as a release needs. */
export type LinePort = {
  open(done: (error: Error | null) => void): void;
  set(levels: LineLevels, done: (error: Error | null) => void): void;
  close(done: (error: Error | null) => void): void;
  /** Reads, and throws away what comes. */
  resume(): unknown;
  on(event: "close" | "error", listener: () => void): unknown;
};

export type LinePortOptions = {
  readonly path: string;
  readonly baudRate: number;
  readonly autoOpen: false;
  /** Whether the system lowers the lines when the port is closed, also when its owner is killed. */
  readonly hupcl: boolean;
};

const IDLE: ContactState = "open";

/**
 * Takes a serial port and opens the contact on it at once: a system raises both lines for a moment
 * when it opens a port.
 *
 * @throws NightError `release.gone` when the port cannot be had, `release.unsafe` when its lines
 *   cannot be brought down.
 */
export async function openSerialContact(
  target: SerialRelease,
  createPort?: (options: LinePortOptions) => LinePort,
): Promise<ContactDevice> {
  const { path, closedAt } = target;
  // With inverted wiring the lines must stay where they are when the port is closed.
  const make = createPort ?? (await systemPorts());
  const port = make({ path, baudRate: 9600, autoOpen: false, hupcl: closedAt === "high" });
  await call((done) => port.open(done)).catch((error: unknown) => {
    throw gone(`The release contact on ${path} cannot be opened: ${wordsOf(error)}.`, error);
  });
  const set = async (state: ContactState): Promise<void> =>
    await call((done) => port.set(levelsFor(target, state), done));
  try {
    await set(IDLE);
  } catch (error) {
    await call((done) => port.close(done)).catch(() => undefined);
    throw new NightError(
      "release.unsafe",
      `The lines of ${path} cannot be lowered (${wordsOf(error)}); this adapter is refused, for it would hold the shutter open.`,
      { path },
      { cause: error },
    );
  }
  // Nothing is expected to come in, but only a port that is read is seen to vanish.
  port.resume();
  let isLost = false;
  return {
    halfPressMs: target.halfLine === null ? 0 : target.halfPressMs,
    set: async (state) => {
      try {
        await set(state);
      } catch (error) {
        throw gone(`The release contact on ${path} does not answer.`, error);
      }
    },
    onLost: (listener) => {
      const lose = (): void => {
        if (isLost) return;
        isLost = true;
        listener();
      };
      port.on("close", lose);
      port.on("error", lose);
    },
    close: async () => {
      isLost = true;
      await set(IDLE).catch(() => undefined);
      await call((done) => port.close(done)).catch(() => undefined);
    },
  };
}

/** Levels of both lines for a state; a line without a task stays low. */
function levelsFor(target: SerialRelease, state: ContactState): LineLevels {
  const high = target.closedAt === "high";
  const level = (line: "dtr" | "rts"): boolean => {
    if (line === target.line) return (state === "closed") === high;
    if (line === target.halfLine) return (state !== "open") === high;
    return false;
  };
  return { dtr: level("dtr"), rts: level("rts") };
}

function call(start: (done: (error: Error | null) => void) => void): Promise<void> {
  return new Promise((resolve, reject) => {
    start((error) => (error ? reject(error) : resolve()));
  });
}

function gone(sentence: string, cause: unknown): NightError {
  return new NightError("release.gone", sentence, {}, { cause });
}

function wordsOf(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}

async function systemPorts(): Promise<(options: LinePortOptions) => LinePort> {
  const { SerialPort } = await importNative("serialport", () => import("serialport"));
  return (options) => new SerialPort(options);
}

import { execFile } from "node:child_process";
import { BroadcastChannel, threadId } from "node:worker_threads";

/** Speaks for Node, which has no datagram socket: part of systemd, so it is there where a unit is. */
const SPEAKER = "systemd-notify";
const CHANNEL = "nattvakt.timing-thread";
/** Beats to one watchdog's length. */
const BEATS = 4;

type Beat = { readonly thread: number; readonly isLast: boolean };
type Environment = Readonly<Record<string, string | undefined>>;

/** Which timing threads live: one that has ever beaten must have beaten again since the last look. */
export class Pulse {
  readonly #known = new Set<number>();
  readonly #heard = new Set<number>();

  note({ thread, isLast }: Beat): void {
    this.#heard.add(thread);
    if (isLast) this.#known.delete(thread);
    else this.#known.add(thread);
  }

  /** Whether none has fallen silent since the last call. */
  isSteady(): boolean {
    const isSteady = [...this.#known].every((thread) => this.#heard.has(thread));
    this.#heard.clear();
    return isSteady;
  }
}

/** The service manager that started this program, if one did. */
export type Manager = {
  /** Whether there is one; it starts the program again after every end with another code than 0. */
  readonly isThere: boolean;
  /** The watch has begun. */
  ready(): void;
  /** The end has begun. */
  stopping(): void;
};

/**
 * Tells the service manager how the program is, and feeds its watchdog for as long as every timing
 * thread that has ever beaten goes on beating.
 *
 * @param say  Sends one message to the manager.
 */
export function serviceManager(
  env: Environment = process.env,
  say: (message: string) => void = speak,
): Manager {
  if (env["NOTIFY_SOCKET"] === undefined) {
    return { isThere: false, ready: () => {}, stopping: () => {} };
  }
  const beatMs = beatMsOf(env);
  const pulse = new Pulse();
  const channel = new BroadcastChannel(CHANNEL);
  channel.onmessage = ({ data }: { readonly data: unknown }) => pulse.note(data as Beat);
  channel.unref();
  const feed = (): void => {
    if (pulse.isSteady()) say("WATCHDOG=1");
  };
  // Two beats to a look, so that one that comes a little late is not taken for a silence.
  const timer = beatMs === null ? null : setInterval(feed, 2 * beatMs).unref();
  return {
    isThere: true,
    ready: () => say("READY=1"),
    stopping: () => {
      // The end has a time limit of its own.
      if (timer) clearInterval(timer);
      channel.close();
      say("STOPPING=1");
    },
  };
}

/**
 * Beats from a timing thread until it ends, where a manager's watchdog listens.
 *
 * @returns beats for the last time.
 */
export function beatForWatchdog(env: Environment = process.env, thread = threadId): () => void {
  const beatMs = beatMsOf(env);
  if (beatMs === null) return () => {};
  const channel = new BroadcastChannel(CHANNEL);
  channel.unref();
  const beat = ({ isLast }: { readonly isLast: boolean }): void =>
    channel.postMessage({ thread, isLast } satisfies Beat);
  beat({ isLast: false });
  const timer = setInterval(() => beat({ isLast: false }), beatMs).unref();
  return () => {
    clearInterval(timer);
    beat({ isLast: true });
    channel.close();
  };
}

/** null: no watchdog. Source of the variable: sd_watchdog_enabled(3). */
function beatMsOf(env: Environment): number | null {
  const us = Number(env["WATCHDOG_USEC"] ?? NaN);
  return us > 0 && env["NOTIFY_SOCKET"] !== undefined ? us / 1000 / BEATS : null;
}

function speak(message: string): void {
  // The manager acts on silence by itself; there is nobody else to report a failure to.
  execFile(SPEAKER, [message], () => undefined);
}

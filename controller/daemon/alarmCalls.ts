import { spawn } from "node:child_process";
import { resolve } from "node:path";
import { alarmsDue, NO_ALARMS, type Alarm } from "../../core/api/alarms.ts";
import type { DaemonView } from "../../core/api/messages.ts";
import { isoOf } from "../../core/sky/calendarDate.ts";
import type { StartOptions } from "../config.ts";
import type { Log } from "../log.ts";

/** A command or an answer that takes longer is ended: the next alarm must come through. Judgement. */
const CALL_MS_MAX = 10_000;
/** Calls that run at once; what comes beside them is logged and not made. */
const CALLS_MAX = 4;

/** The person's own ways of being woken, named on the command line alone. */
export type AlarmWays = {
  /** A program that is run with the alarm on its standard input. */
  readonly command: string | null;
  /** An address that the alarm is posted to. */
  readonly webhook: string | null;
};

/** The ways that were named when the program was started. */
export function alarmWays(options: StartOptions): AlarmWays {
  const { "alarm-command": command, "alarm-webhook": webhook } = options;
  return { command: command === null ? null : resolve(command), webhook };
}

/** What a command and a webhook are given, as JSON. */
type AlarmMessage = {
  readonly kind: Alarm["kind"] | "trial";
  readonly camera: string;
  readonly state: string;
  readonly sentence: string;
  readonly at: string;
};

/** Rings for what the night's state asks for: by the person's own command, by their webhook. */
export class AlarmCalls {
  readonly #ways: AlarmWays;
  readonly #log: Log;
  readonly #callMsMax: number;
  #memory = NO_ALARMS;
  #running = 0;

  constructor({
    ways,
    log,
    callMsMax = CALL_MS_MAX,
  }: {
    readonly ways: AlarmWays;
    readonly log: Log;
    readonly callMsMax?: number;
  }) {
    this.#ways = ways;
    this.#log = log;
    this.#callMsMax = callMsMax;
  }

  /** Takes the state of the night, as often as it changes; never waits for a call. */
  see(view: Pick<DaemonView, "watches" | "nowUtcMs">): void {
    const { alarms, memory } = alarmsDue(view, this.#memory);
    this.#memory = memory;
    for (const { kind, cameraLabel, state, sentence, atUtcMs } of alarms) {
      this.#log.warn("alarm.rung", { kind, camera: cameraLabel, state, sentence });
      this.#call({ kind, camera: cameraLabel, state, sentence, at: isoOf(atUtcMs) });
    }
  }

  /** Makes every call once, to hear whether it wakes. @returns which ways were named. */
  tryOut(at: string, sentence: string): { readonly command: boolean; readonly webhook: boolean } {
    this.#call({ kind: "trial", camera: "", state: "well", sentence, at });
    return { command: this.#ways.command !== null, webhook: this.#ways.webhook !== null };
  }

  #call(message: AlarmMessage): void {
    const { command, webhook } = this.#ways;
    const text = JSON.stringify(message);
    if (command !== null) this.#make("command", () => this.#run(command, text));
    if (webhook !== null) this.#make("webhook", () => this.#post(webhook, text));
  }

  #make(way: string, make: () => Promise<void>): void {
    if (this.#running >= CALLS_MAX) {
      this.#log.warn("alarm.not_called", { way, why: `${this.#running} calls are running still` });
      return;
    }
    this.#running += 1;
    make()
      .catch((thrown: unknown) => {
        const why = thrown instanceof Error ? thrown.message : String(thrown);
        this.#log.warn("alarm.failed", { way, why });
      })
      .finally(() => (this.#running -= 1));
  }

  /** Runs the program itself, without a shell: nothing in a sentence can become a command. */
  #run(command: string, text: string): Promise<void> {
    return new Promise((done, reject) => {
      const child = spawn(command, [], {
        stdio: ["pipe", "ignore", "ignore"],
        timeout: this.#callMsMax,
        killSignal: "SIGKILL",
      });
      child.once("error", reject);
      child.once("exit", (code, signal) => {
        if (code === 0) return done();
        reject(new Error(signal === null ? `it ended with ${code}` : `it was ended by ${signal}`));
      });
      // A program that does not read its input may well do what it is for.
      child.stdin.on("error", () => undefined).end(`${text}\n`);
    });
  }

  async #post(webhook: string, text: string): Promise<void> {
    const answer = await fetch(webhook, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: text,
      redirect: "error",
      signal: AbortSignal.timeout(this.#callMsMax),
    });
    await answer.body?.cancel();
    if (!answer.ok) throw new Error(`it answered ${answer.status}`);
  }
}

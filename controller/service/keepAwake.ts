import { spawn, type ChildProcess } from "node:child_process";

/** A program that holds off sleep while it runs, and repeats its standard input once it does. */
export type SleepInhibitor = {
  readonly program: string;
  readonly args: readonly string[];
  /** What it cannot prevent. */
  readonly lost: string | null;
};
/** What a person should know of the computer's sleep; null: it is held off, on a closed lid too. */
export type TellSleep = (lack: string | null) => void;

/** How soon a refused inhibition is asked for again: below the shortest usual idle time. Judgement. */
const RETRY_MS = 60_000;
/** What comes back shows that sleep is held off. */
const QUESTION = "held\n";

const LID = "A closed lid still sends this computer to sleep: leave it open.";
const SETTINGS =
  "switch sleeping off in this computer's settings for the night, on a closed lid too.";

/** SetThreadExecutionState: ES_CONTINUOUS and ES_SYSTEM_REQUIRED. From memory, unconfirmed. */
const STAY_AWAKE = "0x80000001";
const WINDOWS_SCRIPT =
  `$call = Add-Type -PassThru -Name Power -Namespace Nattvakt -MemberDefinition ` +
  `'[DllImport("kernel32.dll")] public static extern uint SetThreadExecutionState(uint flags);'; ` +
  `if ($call::SetThreadExecutionState([uint32]"${STAY_AWAKE}") -eq 0) { exit 1 }; ` +
  `while ($null -ne ($line = [Console]::In.ReadLine())) { [Console]::Out.WriteLine($line) }`;

/**
 * The program of each system that holds off sleep for as long as it runs. Each starts to repeat its
 * standard input once it does, and ends with it, so that it is gone with us however we go.
 *
 * Sources: systemd-inhibit(1); from memory, unconfirmed: caffeinate's and the Windows call's words.
 */
export function inhibitorOf(platform: NodeJS.Platform): SleepInhibitor | null {
  switch (platform) {
    case "linux": {
      const what = ["--what=sleep:idle:handle-lid-switch", "--mode=block"];
      const who = ["--who=Nattvakt", "--why=A night watch is running"];
      return { program: "systemd-inhibit", args: [...what, ...who, "cat"], lost: null };
    }
    case "darwin":
      return { program: "caffeinate", args: ["-i", "-s", "cat"], lost: LID };
    case "win32": {
      const args = ["-NoProfile", "-NonInteractive", "-Command", WINDOWS_SCRIPT];
      return { program: "powershell.exe", args, lost: LID };
    }
    default:
      return null;
  }
}

/**
 * Keeps the computer from sleeping, on a closed lid too where the system lets us; where it does not,
 * it is asked again for as long as it matters.
 *
 * @param tell  Called with what cannot be kept from happening and what to do, whenever that changes.
 * @returns lets it sleep again.
 */
export function keepAwake(
  tell: TellSleep,
  inhibitor: SleepInhibitor | null = inhibitorOf(process.platform),
  retryMs: number = RETRY_MS,
): () => void {
  if (inhibitor === null) {
    tell(mayFallAsleep("nothing is known of this system's sleep"));
    return () => {};
  }
  let reported: string | null = null;
  const tellNews: TellSleep = (lack) => {
    if (lack === reported) return;
    reported = lack;
    tell(lack);
  };
  const hold = new SleepHold(inhibitor, tellNews, retryMs);
  hold.begin();
  return () => hold.end();
}

/** One inhibiting child after another, until one is granted what it asks for. */
class SleepHold {
  readonly #inhibitor: SleepInhibitor;
  readonly #tell: TellSleep;
  readonly #retryMs: number;
  #child: ChildProcess | null = null;
  #timer: NodeJS.Timeout | null = null;

  constructor(inhibitor: SleepInhibitor, tell: TellSleep, retryMs: number) {
    this.#inhibitor = inhibitor;
    this.#tell = tell;
    this.#retryMs = retryMs;
  }

  begin(): void {
    const { program, args, lost } = this.#inhibitor;
    // What it says of itself is not what a service manager shall hear of the program.
    const { NOTIFY_SOCKET: _, ...env } = process.env;
    const child = spawn(program, args, {
      env,
      stdio: ["pipe", "pipe", "ignore"],
      // A group of its own: Ctrl-C must not end it before the watch.
      detached: true,
      windowsHide: true,
    });
    this.#child = child;
    let whyEnded = `${program} was refused`;
    child.once("error", () => this.#failed(child, `there is no ${program}`));
    child.once("exit", () => this.#failed(child, whyEnded));
    child.stdout.once("data", () => {
      whyEnded = `${program} has ended`;
      // Nothing more is asked of it, and an open pipe would keep the program going.
      child.stdout.destroy();
      if (this.#child === child) this.#tell(lost);
    });
    child.stdin.on("error", () => undefined);
    child.stdin.write(QUESTION);
    // It must not keep the program going.
    child.unref();
  }

  end(): void {
    const child = this.#child;
    this.#child = null;
    if (this.#timer) clearTimeout(this.#timer);
    child?.stdin?.end();
    child?.stdout?.destroy();
  }

  #failed(child: ChildProcess, why: string): void {
    if (this.#child !== child) return;
    this.#child = null;
    this.#timer = setTimeout(() => this.begin(), this.#retryMs).unref();
    this.#tell(mayFallAsleep(why));
  }
}

function mayFallAsleep(why: string): string {
  return `This computer may fall asleep (${why}): ${SETTINGS}`;
}

/** Whether a watch needs the computer. */
type Duty = "watching" | "resting";

/**
 * Keeps the computer awake while a watch runs, and only then.
 *
 * @param keep  Begins to, and gives what ends it.
 * @returns to be reported whether a watch runs, as often as one likes.
 */
export function awakeWhile(keep: () => () => void): (duty: Duty) => void {
  let letSleep: (() => void) | null = null;
  return (duty) => {
    const isWatching = duty === "watching";
    if (isWatching === (letSleep !== null)) return;
    letSleep?.();
    letSleep = isWatching ? keep() : null;
  };
}

import { spawn, type ChildProcess } from "node:child_process";

type SleepInhibitor = {
  readonly program: string;
  readonly args: readonly string[];
  /** What it cannot prevent. */
  readonly lost: string | null;
};
type Print = (line: string) => void;

const LID = "A closed lid still sends this computer to sleep: leave it open.";
const SETTINGS =
  "switch sleeping off in this computer's settings for the night, on a closed lid too.";

/** SetThreadExecutionState: ES_CONTINUOUS and ES_SYSTEM_REQUIRED. From memory, unconfirmed. */
const STAY_AWAKE = "0x80000001";
const WINDOWS_SCRIPT =
  `$call = Add-Type -PassThru -Name Power -Namespace Nattvakt -MemberDefinition ` +
  `'[DllImport("kernel32.dll")] public static extern uint SetThreadExecutionState(uint flags);'; ` +
  `if ($call::SetThreadExecutionState([uint32]"${STAY_AWAKE}") -eq 0) { exit 1 }; ` +
  `[Console]::In.ReadLine() | Out-Null`;

/**
 * The program of each system that holds off sleep for as long as it runs. Each ends when its
 * standard input does, so that it is gone with us however we go.
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
 * Keeps the computer from sleeping, on a closed lid too where the system lets us.
 *
 * @param print  Called with one sentence on what cannot be kept from happening, and what to do.
 * @returns lets it sleep again.
 */
export function keepAwake(
  print: Print,
  inhibitor: SleepInhibitor | null = inhibitorOf(process.platform),
): () => void {
  const tell = (why: string): void => print(`This computer may fall asleep (${why}): ${SETTINGS}`);
  if (inhibitor === null) {
    tell("nothing is known of this system's sleep");
    return () => {};
  }
  // What it says of itself is not what a service manager shall hear of the program.
  const { NOTIFY_SOCKET: _, ...env } = process.env;
  let child: ChildProcess | null = spawn(inhibitor.program, inhibitor.args, {
    env,
    stdio: ["pipe", "ignore", "ignore"],
    // A group of its own: Ctrl-C must not end it before the watch.
    detached: true,
    windowsHide: true,
  });
  const end = (why: string): void => {
    if (!child) return;
    child = null;
    tell(why);
  };
  child.once("error", () => end(`there is no ${inhibitor.program}`));
  child.once("exit", () => end(`${inhibitor.program} was refused`));
  child.stdin?.on("error", () => undefined);
  // It must not keep the program going.
  child.unref();
  if (inhibitor.lost !== null) print(inhibitor.lost);
  return () => {
    const running = child;
    child = null;
    running?.stdin?.end();
  };
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

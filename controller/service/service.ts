import { execFileSync } from "node:child_process";
import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { homedir, userInfo } from "node:os";
import { dirname, join } from "node:path";
import { NightError } from "../../core/errors.ts";
import { unitFile, WALLS, type ServiceOrder, type Walls } from "./unitFile.ts";

const UNIT = "nattvakt.service";

/** What the service command needs of the system; tests put their own in its place. */
export type ServiceSystem = {
  readonly platform: NodeJS.Platform;
  readonly user: string;
  /** Where a user's own units lie. */
  readonly unitDir: string;
  /** Runs a program and gives what it prints. @throws when it fails or is not there. */
  readonly run: (program: string, args: readonly string[]) => string;
  /** Scheduling policies of a process's threads, by their numbers in sched(7). */
  readonly policies: (pid: number) => readonly number[];
};

export function thisSystem(): ServiceSystem {
  const config = process.env["XDG_CONFIG_HOME"] || join(homedir(), ".config");
  return {
    platform: process.platform,
    user: userInfo().username,
    unitDir: join(config, "systemd", "user"),
    run: (program, args) =>
      execFileSync(program, args, { encoding: "utf8", stdio: ["ignore", "pipe", "pipe"] }),
    policies: policiesOf,
  };
}

/** Writes the unit, starts it now and at every start of the computer, and says what is lacking. */
export function installService(order: ServiceOrder, system: ServiceSystem): readonly string[] {
  checkSystem(system);
  const path = join(system.unitDir, UNIT);
  mkdirSync(dirname(path), { recursive: true });
  const walls = WALLS.find(
    (one) => isLast(one) || starts(unitFile(order, { walls: one }), path, system),
  )!;
  if (isLast(walls)) startPlainest(unitFile(order, { walls }), path, system);
  control(system, "enable", UNIT);
  return [
    `The service runs, and starts with this computer; it is written down in ${path}.`,
    ...(walls === "all" ? [] : [FEWER_WALLS]),
    lingerLine(system),
    rightsLine(system.user),
    sleepLine(system.user),
  ];
}

const FEWER_WALLS =
  "This system does not let a user's service be walled off by namespaces; it runs with the rest of its restrictions.";

function isLast(walls: Walls): boolean {
  return walls === WALLS.at(-1);
}

function starts(unit: string, path: string, system: ServiceSystem): boolean {
  try {
    startUnit(unit, path, system);
    return true;
  } catch {
    return false;
  }
}

/** What keeps it from starting without walls, too, is said; a unit that does not start is not left behind. */
function startPlainest(unit: string, path: string, system: ServiceSystem): void {
  try {
    startUnit(unit, path, system);
  } catch (thrown) {
    rmSync(path, { force: true });
    for (const words of [["stop", UNIT], ["daemon-reload"]]) {
      try {
        control(system, ...words);
      } catch {
        // It is said already why nothing runs.
      }
    }
    throw thrown;
  }
}

function startUnit(unit: string, path: string, system: ServiceSystem): void {
  writeFileSync(path, unit);
  control(system, "daemon-reload");
  control(system, "restart", UNIT);
}

/** Ends the service in order and takes it away. */
export function removeService(system: ServiceSystem): readonly string[] {
  checkSystem(system);
  const path = join(system.unitDir, UNIT);
  if (!existsSync(path)) return ["There is no service to remove."];
  control(system, "disable", "--now", UNIT);
  rmSync(path);
  control(system, "daemon-reload");
  return ["The service has ended and is removed; its nights are kept."];
}

/** What the manager says of the service, and how its timing thread is really scheduled. */
export function serviceStatus(system: ServiceSystem): readonly string[] {
  checkSystem(system);
  if (!existsSync(join(system.unitDir, UNIT))) return ["There is no service; install one first."];
  const shown = control(system, "show", UNIT, "--property=ActiveState,SubState,MainPID");
  const fields = new Map(shown.split("\n").map((line) => line.split("=", 2) as [string, string]));
  const state = `The service is ${fields.get("ActiveState")} (${fields.get("SubState")}).`;
  const pid = Number(fields.get("MainPID") ?? 0);
  return pid > 0 ? [state, schedulingLine(system.policies(pid), system.user)] : [state];
}

/** @throws NightError where there is no systemd of the user's own. */
function checkSystem({ platform }: ServiceSystem): void {
  if (platform === "linux") return;
  const what =
    platform === "darwin"
      ? "put `nattvakt` with your options among the login items"
      : platform === "win32"
        ? "make a task in the task scheduler that starts `nattvakt` with your options at log-on"
        : "start `nattvakt` with your options from what starts your session";
  throw new NightError(
    "service.unavailable",
    `Nattvakt makes no service of itself on this system; ${what}.`,
  );
}

function control(system: ServiceSystem, ...args: readonly string[]): string {
  try {
    return system.run("systemctl", ["--user", ...args]);
  } catch (thrown) {
    const said = String((thrown as { stderr?: unknown }).stderr ?? "").trim();
    const why = said === "" ? (thrown as Error).message : said;
    throw new NightError(
      "service.unavailable",
      `systemctl --user ${args[0]} failed: ${why.split("\n")[0]}`,
      {},
      { cause: thrown },
    );
  }
}

function lingerLine({ run, user }: ServiceSystem): string {
  try {
    run("loginctl", ["enable-linger", user]);
    return "It goes on when you log out.";
  } catch {
    return `It ends when you log out, and starts when you log in; \`sudo loginctl enable-linger ${user}\` keeps it going.`;
  }
}

/**
 * A user's manager cannot grant real-time scheduling; one line, once, by the administrator does. The
 * manager has the right only once it is itself started again (tried with systemd 252).
 */
function rightsLine(user: string): string {
  return (
    "For a shutter that keeps its time on a busy computer give it the right to real-time scheduling, once, and restart the computer: " +
    `echo '${user} - rtprio 1' | sudo tee /etc/security/limits.d/nattvakt.conf`
  );
}

/**
 * The system lets only who sits at the computer keep it awake; a service that goes on after log-out,
 * or on a board without a screen, is refused (tried with systemd 252 and polkit 122).
 */
function sleepLine(user: string): string {
  const rule =
    `polkit.addRule(function (action, subject) { if (subject.user == "${user}" && ` +
    `["block-sleep", "block-idle", "handle-lid-switch"].some(function (what) { ` +
    `return action.id == "org.freedesktop.login1.inhibit-" + what; })) return polkit.Result.YES; });`;
  return (
    "To let it keep this computer awake while nobody is logged in at it, too, allow that once: " +
    `echo '${rule}' | sudo tee /etc/polkit-1/rules.d/70-nattvakt.rules`
  );
}

/** Source of the numbers: sched(7). */
const REAL_TIME_POLICIES: readonly number[] = [1, 2];

function schedulingLine(policies: readonly number[], user: string): string {
  if (policies.some((policy) => REAL_TIME_POLICIES.includes(policy))) {
    return "Its timing thread has real-time scheduling.";
  }
  return `None of its threads has real-time scheduling (no camera is in use, or the right is lacking). ${rightsLine(user)}`;
}

/** The policy's place in the line: proc_pid_stat(5), field 41, the third being the first after the name. */
const POLICY_INDEX = 41 - 3;

function policiesOf(pid: number): readonly number[] {
  return readdirSync(`/proc/${pid}/task`).map((thread) => {
    const stat = readFileSync(`/proc/${pid}/task/${thread}/stat`, "utf8");
    return Number(stat.split(") ").at(-1)!.split(" ")[POLICY_INDEX]);
  });
}

import { execFile, spawn, type ChildProcess } from "node:child_process";
import { once } from "node:events";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));
const SCRIPT = fileURLToPath(new URL("./userManager.sh", import.meta.url));
/** As `userManager.sh` has them. */
const UID = "61000";
const HOME = "/run/home";
const TREE = "/run/tree";
const NODE = "/run/node";

const run = promisify(execFile);

/** What a command came to. */
export type Outcome = { readonly code: number; readonly printed: string };

/**
 * A real systemd user manager of a made-up ordinary user, without rights of any kind, in a mount namespace of its own. The
 * user sees the program's tree and the home that the test gave it.
 */
export class UserManager {
  readonly #keeper: ChildProcess;

  private constructor(keeper: ChildProcess) {
    this.#keeper = keeper;
  }

  /** @param homeDir  The user's home, as this process sees it. @throws Error where there can be none. */
  static async start(homeDir: string): Promise<UserManager> {
    const keeper = spawn("unshare", ["--mount", "--propagation=private", "sh", SCRIPT], {
      env: { ...process.env, TREE: ROOT, NODE: process.execPath, HOME_DIR: homeDir },
      stdio: ["pipe", "pipe", "pipe"],
    });
    let complaint = "";
    keeper.stderr.setEncoding("utf8").on("data", (text: string) => (complaint += text));
    const isReady = new Promise<void>((resolve, reject) => {
      let said = "";
      keeper.stdout.setEncoding("utf8").on("data", (text: string) => {
        said += text;
        if (/^ready$/m.test(said)) resolve();
      });
      keeper.once("error", reject);
      keeper.once("close", () => reject(new Error(complaint.trim())));
    });
    await isReady;
    return new UserManager(keeper);
  }

  /** Runs a command as the user. */
  async run(...command: readonly string[]): Promise<Outcome> {
    const words = this.#asUser(command);
    try {
      const { stdout, stderr } = await run(words[0]!, words.slice(1));
      return { code: 0, printed: stdout + stderr };
    } catch (thrown) {
      const { code, stdout, stderr } = thrown as { code: number; stdout: string; stderr: string };
      return { code, printed: stdout + stderr };
    }
  }

  /** Runs one of the program's commands as the user. */
  program(file: string, ...args: readonly string[]): Promise<Outcome> {
    return this.run(NODE, "--import", "tsx", `${TREE}/${file}`, ...args);
  }

  /** Properties of a unit, by their names. */
  async show(unit: string, ...names: readonly string[]): Promise<Readonly<Record<string, string>>> {
    const { printed } = await this.run(
      ...["systemctl", "--user", "show", unit, `--property=${names.join(",")}`],
    );
    return Object.fromEntries(
      printed
        .trim()
        .split("\n")
        .map((line) => line.split(/=(.*)/s, 2)),
    ) as Record<string, string>;
  }

  async stop(): Promise<void> {
    this.#keeper.stdin!.end();
    if (this.#keeper.exitCode === null) await once(this.#keeper, "close");
  }

  #asUser(command: readonly string[]): readonly string[] {
    const user = [`--reuid=${UID}`, `--regid=${UID}`, "--clear-groups", "--inh-caps=-all"];
    const env = [`HOME=${HOME}`, "USER=ada", `XDG_RUNTIME_DIR=/run/user/${UID}`];
    return [
      ...["nsenter", `--target=${this.#keeper.pid}`, "--mount"],
      ...[
        "setpriv",
        ...user,
        "env",
        "-i",
        `--chdir=${TREE}`,
        `PATH=${process.env["PATH"]}`,
        ...env,
        ...command,
      ],
    ];
  }
}

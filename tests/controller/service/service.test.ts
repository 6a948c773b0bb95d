import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { runInNewContext } from "node:vm";
import { describe, expect, it } from "vitest";
import {
  installService,
  removeService,
  serviceStatus,
  type ServiceSystem,
} from "../../../controller/service/service.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const ORDER = { command: ["/usr/bin/node", "/opt/main.js"], exposureSecondsMax: 15 };

/** A system that writes down what it is asked to run. */
function madeUpSystem(change: Partial<ServiceSystem> = {}) {
  const asked: string[] = [];
  const system: ServiceSystem = {
    platform: "linux",
    user: "ada",
    unitDir: join(temporaryFolder(), "systemd", "user"),
    run: (program, args) => {
      asked.push([program, ...args].join(" "));
      return "";
    },
    policies: () => [],
    ...change,
  };
  return { asked, system, unit: join(system.unitDir, "nattvakt.service") };
}

describe("the service", () => {
  it("is written down, enabled and started, goes on after log-out, and names the right it lacks", () => {
    const { asked, system, unit } = madeUpSystem();
    const lines = installService(ORDER, system);
    expect(readFileSync(unit, "utf8")).toContain('ExecStart="/usr/bin/node" "/opt/main.js"\n');
    expect(asked).toEqual([
      "systemctl --user daemon-reload",
      "systemctl --user restart nattvakt.service",
      "systemctl --user enable nattvakt.service",
      "loginctl enable-linger ada",
    ]);
    expect(lines[1]).toBe("It goes on when you log out.");
    expect(lines[2]).toMatch(
      /restart the computer: echo 'ada - rtprio 1' \| sudo tee \/etc\/security\/limits\.d\//,
    );
  });

  it("says what lets it keep the computer awake while nobody is logged in: a rule for it alone", () => {
    const { system } = madeUpSystem();
    const line = installService(ORDER, system).at(-1)!;
    const [, rule] = /echo '(.*)' \| sudo tee \/etc\/polkit-1\/rules\.d\//.exec(line)!;
    type Asked = readonly [action: { id: string }, subject: { user: string }];
    let decide = (..._: Asked): unknown => "no rule";
    const polkit = {
      addRule: (given: typeof decide) => (decide = given),
      Result: { YES: "yes" },
    };
    runInNewContext(rule!, { polkit });
    const inhibit = (what: string, user = "ada") =>
      decide({ id: `org.freedesktop.login1.${what}` }, { user });
    for (const what of ["block-sleep", "block-idle", "handle-lid-switch"]) {
      expect(inhibit(`inhibit-${what}`)).toBe("yes");
    }
    expect(inhibit("inhibit-block-sleep", "eve")).toBeUndefined();
    expect(inhibit("power-off")).toBeUndefined();
  });

  it.each([
    ["PrivateUsers=yes", "PrivateMounts=yes"],
    ["PrivateMounts=yes", "NoNewPrivileges=yes"],
  ])("starts without %s where the system grants a user none, and says so", (refused, kept) => {
    const { system, unit } = madeUpSystem({
      run: (_program, args) => {
        const isRefused = readFileSync(unit, "utf8").includes(refused);
        if (args.includes("restart") && isRefused) throw new Error("Job failed");
        return "";
      },
    });
    expect(installService(ORDER, system)[1]).toMatch(/^This system does not let .* walled off/);
    expect(readFileSync(unit, "utf8")).not.toContain(refused);
    expect(readFileSync(unit, "utf8")).toContain(kept);
  });

  it("says what keeps it from starting where even the plainest unit does not", () => {
    const { system, unit } = madeUpSystem({
      run: (_program, args) => {
        if (args.includes("restart")) throw new Error("Job failed");
        return "";
      },
    });
    expect(() => installService(ORDER, system)).toThrow(
      "systemctl --user restart failed: Job failed",
    );
    expect(existsSync(unit)).toBe(false);
  });

  it("says that it ends at log-out where lingering is refused", () => {
    const { system } = madeUpSystem({
      run: (program) => {
        if (program === "loginctl") throw new Error("Access denied");
        return "";
      },
    });
    expect(installService(ORDER, system)[1]).toMatch(
      /^It ends when you log out.*`sudo loginctl enable-linger ada` keeps it going\.$/,
    );
  });

  it("says in one sentence what the user's manager complained of", () => {
    const stderr = "Failed to connect to bus: No medium found\nmore\n";
    const { system } = madeUpSystem({
      run: () => {
        throw Object.assign(new Error("Command failed"), { stderr });
      },
    });
    expect(() => installService(ORDER, system)).toThrow(
      "systemctl --user daemon-reload failed: Failed to connect to bus: No medium found",
    );
  });

  it("is ended in order and removed", () => {
    const { asked, system, unit } = madeUpSystem();
    expect(removeService(system)).toEqual(["There is no service to remove."]);
    installService(ORDER, system);
    asked.length = 0;
    removeService(system);
    expect(asked[0]).toBe("systemctl --user disable --now nattvakt.service");
    expect(existsSync(unit)).toBe(false);
  });

  it.each([
    [[0, 2, 0], /^Its timing thread has real-time scheduling\.$/],
    [[0, 0], /^None of its threads has real-time scheduling .*rtprio 1/],
  ])("with threads of policies %j says so", (policies, sentence) => {
    const shown = "ActiveState=active\nSubState=running\nMainPID=77\n";
    const { system } = madeUpSystem({
      run: (_program, args) => (args.includes("show") ? shown : ""),
      policies: (pid) => (pid === 77 ? policies : []),
    });
    expect(serviceStatus(system)).toEqual(["There is no service; install one first."]);
    installService(ORDER, system);
    const [state, scheduling] = serviceStatus(system);
    expect(state).toBe("The service is active (running).");
    expect(scheduling).toMatch(sentence);
  });

  it.each([
    ["darwin", /login items/],
    ["win32", /task scheduler/],
    ["freebsd", /what starts your session/],
  ] as const)("says on %s in one sentence what to do instead", (platform, sentence) => {
    const { asked, system } = madeUpSystem({ platform });
    expect(() => installService(ORDER, system)).toThrow(sentence);
    expect(() => serviceStatus(system)).toThrow(sentence);
    expect(asked).toEqual([]);
  });
});

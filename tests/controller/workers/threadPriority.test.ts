import { spawnSync } from "node:child_process";
import { describe, expect, it } from "vitest";
import {
  askForPriority,
  type SchedulingSystem,
} from "../../../controller/workers/threadPriority.ts";
import { mayBeRealTime } from "../../support/mayBeRealTime.ts";
import { timingWords } from "../../../core/words/timingWords.ts";

const MODULE = new URL("../../../controller/workers/threadPriority.ts", import.meta.url).href;

/** Scheduling policies by number. Source: sched(7); the field's place by proc_pid_stat(5). */
const POLICIES: Readonly<Record<number, string>> = { 0: "ordinary", 2: "real-time, by turns" };
const POLICY_FIELD = 41;

/** Asks for priority in a program of its own, and reads what the system then says of its thread. */
function policyAfterAsking(): string | undefined {
  const script = `
    import { readFileSync } from "node:fs";
    const { askForPriority } = await import(${JSON.stringify(MODULE)});
    askForPriority();
    const afterName = readFileSync("/proc/thread-self/stat", "utf8").split(") ").at(-1);
    process.stdout.write(afterName.split(" ")[${POLICY_FIELD} - 3]);`;
  const child = spawnSync(process.execPath, [
    ...["--import", "tsx", "--input-type", "module"],
    ...["--eval", script],
  ]);
  return POLICIES[Number(child.stdout.toString())];
}

it.runIf(process.platform === "linux")(
  "makes the calling thread real-time where the user may, and leaves it as it is elsewhere",
  () => {
    expect(policyAfterAsking()).toBe(mayBeRealTime() ? "real-time, by turns" : "ordinary");
  },
);

describe("asking for priority", () => {
  const refuse = (): void => {
    throw new Error("Operation not permitted");
  };
  const allow = (): void => undefined;

  it.each([
    ["linux", allow, refuse, "realTime"],
    ["linux", refuse, allow, "ahead"],
    ["linux", refuse, refuse, "ordinary"],
    // There it would concern the whole process, the page's work with it.
    ["darwin", allow, allow, "notOffered"],
    ["win32", allow, allow, "notOffered"],
  ] as const)("on %s takes the best that it is given", (platform, realTime, lessNice, granted) => {
    const system: SchedulingSystem = {
      ...{ platform, becomeRealTime: realTime, becomeLessNice: lessNice },
    };
    expect(askForPriority(system)).toBe(granted);
  });

  it("is reported in a sentence that says what to do where it is refused", () => {
    expect(timingWords.scheduling("realTime")).toMatch(/with real-time scheduling\.$/);
    expect(timingWords.scheduling("ahead")).toMatch(/administrator allow it/);
    expect(timingWords.scheduling("notOffered")).toMatch(/: end other programs\.$/);
  });
});

import { expect, it } from "vitest";
import { endingSignals } from "../../controller/endingSignals.ts";

it("ends in order on what each system can ask with, a closed terminal among it", () => {
  expect(endingSignals({ platform: "linux" })).toEqual(["SIGINT", "SIGTERM", "SIGHUP"]);
  expect(endingSignals({ platform: "darwin" })).toEqual(["SIGINT", "SIGTERM", "SIGHUP"]);
  expect(endingSignals({ platform: "win32" })).toEqual(["SIGINT", "SIGBREAK", "SIGHUP"]);
});

it("leaves a closed terminal out where the system lets a watch outlive it", () => {
  const outlivesTerminal = true;
  expect(endingSignals({ platform: "linux", outlivesTerminal })).toEqual(["SIGINT", "SIGTERM"]);
  expect(endingSignals({ platform: "win32", outlivesTerminal })).toContain("SIGHUP");
});

import { expect, it } from "vitest";
import { endingSignals } from "../../controller/endingSignals.ts";

it("ends in order on what each system can ask with, a closed terminal among it", () => {
  expect(endingSignals("linux")).toEqual(["SIGINT", "SIGTERM", "SIGHUP"]);
  expect(endingSignals("darwin")).toEqual(["SIGINT", "SIGTERM", "SIGHUP"]);
  expect(endingSignals("win32")).toEqual(["SIGINT", "SIGBREAK", "SIGHUP"]);
});

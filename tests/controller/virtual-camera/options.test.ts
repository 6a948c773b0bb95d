import { describe, expect, test } from "vitest";
import { parseCommandLine } from "../../../controller/commandLine.ts";
import { DEFAULT_CAMERA_SETTINGS } from "../../../controller/virtual-camera/cameraSettings.ts";
import {
  originOf,
  settingsOf,
  scenarioStartOf,
  VIRTUAL_CAMERA_COMMAND,
  type VirtualCameraOptions,
} from "../../../controller/virtual-camera/options.ts";

function parse(...args: readonly string[]): VirtualCameraOptions {
  const line = parseCommandLine(VIRTUAL_CAMERA_COMMAND, args);
  if (line.kind === "help") throw new Error("help was not asked for");
  return line.options;
}

describe("the options", () => {
  test("left out give the well-behaved camera", () => {
    expect(settingsOf(parse())).toEqual(DEFAULT_CAMERA_SETTINGS);
  });

  test("reach the camera's settings and faults", () => {
    const settings = settingsOf(
      parse(
        ...["--card-mb", "64", "--battery-percent", "40", "--no-bulb", "--busy-seconds", "2"],
        ...["--clock-drift-seconds", "-95", "--program-mode", "automatic"],
        ...["--drop-link-at-frame", "3", "--busy-probability", "0.1"],
      ),
    );
    expect(settings).toMatchObject({
      ...{ cardBytes: 64e6, batteryPercent: 40, hasBulb: false, busySeconds: 2 },
      ...{ clockDriftSeconds: -95, programMode: "automatic" },
      faults: { dropLinkAtFrame: 3, busyProbability: 0.1, cardFullAtFrame: null },
    });
  });

  test("take another program's clock as it is, and the scenario begins with it", () => {
    const origin = { rate: 10, realOriginMs: 1234.5, startUtcMs: 1_806_000_000_000 };
    const options = parse("--origin-json", JSON.stringify(origin));
    expect(originOf(options)).toEqual(origin);
    expect(scenarioStartOf(options, originOf(options))).toBe(origin.startUtcMs);
  });

  test.each(["2027-03-24T17:45:00Z", "2027-03-24T17:45:00", "2027-03-24T19:45:00+02:00"])(
    "%s is the same start, whatever this machine's zone is",
    (text) => {
      const { startUtcMs } = originOf(parse("--start-utc", text));
      expect(startUtcMs).toBe(Date.UTC(2027, 2, 24, 17, 45));
    },
  );

  test.each([
    ["--start-utc", "tonight"],
    ["--origin-json", "{}"],
    ["--origin-json", "not json"],
    ["--origin-json", '{"rate":0,"realOriginMs":1,"startUtcMs":1}'],
    ["--origin-json", '{"rate":1,"realOriginMs":1}'],
  ])("%s %s is refused with a sentence that names it", (option, value) => {
    expect(() => originOf(parse(option, value))).toThrowError(
      expect.objectContaining({
        code: "usage.invalid",
        message: expect.stringContaining(option) as string,
      }),
    );
  });
});

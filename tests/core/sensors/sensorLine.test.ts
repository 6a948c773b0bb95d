import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { readSensorLine } from "../../../core/sensors/sensorLine.ts";

describe("a sensor's line", () => {
  it.each([
    ["light value=0.01234", { kind: "light", value: 0.01234 }],
    ["light value=1.5e-3\r", { kind: "light", value: 0.0015 }],
    [
      "climate temperatureC=-12.4 humidityPercent=81",
      { kind: "climate", temperatureC: -12.4, humidityPercent: 81 },
    ],
    ["climate temperatureC=-12.4", { kind: "climate", temperatureC: -12.4, humidityPercent: null }],
    [
      "climate temperatureC=2 humidityPercent=103",
      { kind: "climate", temperatureC: 2, humidityPercent: 100 },
    ],
  ])("%s is read", (line, reading) => {
    expect(readSensorLine(line)).toEqual(reading);
  });

  it.each([
    ["a remark", "# warming up"],
    ["half a line", "light val"],
    ["a negative light", "light value=-1"],
    ["no number", "light value=NaN"],
    ["a broken thermometer", "climate temperatureC=-127"],
    ["a broken humidity", "climate temperatureC=3 humidityPercent=255"],
    ["another word", "pressure value=1013"],
  ])("%s is left out", (_what, line) => {
    expect(readSensorLine(line)).toBeNull();
  });

  it("never throws, whatever comes down the line", () => {
    fc.assert(fc.property(fc.string(), (line) => void readSensorLine(line)));
  });
});

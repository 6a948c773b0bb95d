import { describe, expect, it } from "vitest";

import { clearLensC, dewPointC, frostPointC } from "../../core/sky/dewPoint.ts";

/** The same by the coefficients of WMO-No. 8: 17.62 and 243.12. */
function wmoDewPointC(temperatureC: number, humidityPercent: number): number {
  const gamma = Math.log(humidityPercent / 100) + (17.62 * temperatureC) / (243.12 + temperatureC);
  return (243.12 * gamma) / (17.62 - gamma);
}

describe("dew and frost point", () => {
  it.each([
    // Source: Alduchov and Eskridge 1996, J. Appl. Meteor. 35:601; within 0.006 of Hyland and Wexler.
    [10, 80, 6.708],
    [0, 90, -1.444],
    [-10, 85, -12.042],
    [-20, 80, -22.562],
  ])("dew point of %d °C at %d %% is %d °C", (temperature, humidity, expected) => {
    expect(dewPointC(temperature, humidity)).toBeCloseTo(expected, 2);
  });

  it("agrees with the coefficients of WMO-No. 8 within 0.005 K from −30 to 30 °C", () => {
    for (let temperature = -30; temperature <= 30; temperature += 5) {
      for (const humidity of [40, 60, 80, 100]) {
        const difference = dewPointC(temperature, humidity) - wmoDewPointC(temperature, humidity);
        expect(Math.abs(difference)).toBeLessThan(0.01);
      }
    }
  });

  it.each([
    // Source: Alduchov and Eskridge 1996, over ice.
    [-10, 85, -10.71],
    [-20, 80, -20.26],
  ])(
    "frost point of %d °C at %d %% is %d °C, above the dew point",
    (temperature, humidity, expected) => {
      expect(frostPointC(temperature, humidity)).toBeCloseTo(expected, 1);
      expect(frostPointC(temperature, humidity)).toBeGreaterThan(dewPointC(temperature, humidity));
    },
  );

  it("asks a lens to stay above the frost point in frost and above the dew point otherwise", () => {
    expect(clearLensC(-10, 85)).toBe(frostPointC(-10, 85));
    expect(clearLensC(10, 80)).toBe(dewPointC(10, 80));
  });
});

import { describe, expect, it } from "vitest";

import { cautionsOf, type CautionId, type CautionStep } from "../../../core/plan/cautions.ts";
import { coldOf } from "../../../core/plan/cold.ts";

const idsOf = (cautions: readonly { id: CautionId }[]) => cautions.map(({ id }) => id);

describe("cautions", () => {
  it("speak of everything that can hurt, each at its step", () => {
    const all = cautionsOf({ cold: coldOf({ temperatureC: 5 }) });
    expect(new Set(idsOf(all))).toEqual(
      new Set([
        "cold",
        "ice",
        "roads",
        "land",
        "tellSomeone",
        "lights",
        "sun",
        "metal",
        "power",
        "cables",
      ]),
    );
    const at = (step: CautionStep) => all.filter((caution) => caution.step === step);
    expect(idsOf(at("dawn"))).toEqual(["sun"]);
    expect(idsOf(at("release"))).toEqual(["cables"]);
    expect(idsOf(at("focus"))).toEqual(["lights"]);
  });

  it("press with the cold: frostbite within 5 to 10 minutes at −30 °C in 30 km/h, first of all", () => {
    const cold = coldOf({ temperatureC: -30, windKmh: 30 });
    const [first] = cautionsOf({ cold });
    expect(first).toMatchObject({ id: "cold", isPressing: true });
    expect(first!.text).toContain("−46 °C with the wind");
    expect(first!.text).toContain("5 to 10 minutes");
  });

  it("press nothing on a mild night", () => {
    const mild = cautionsOf({ cold: coldOf({ temperatureC: 10 }) });
    expect(mild.some(({ isPressing }) => isPressing)).toBe(false);
  });
});

describe("the expected cold", () => {
  it("warns of frost on open glass at −10 °C and 85 %, whose frost point is −10.7 °C", () => {
    const cold = coldOf({ temperatureC: -10, humidityPercent: 85 });
    expect(cold.frostPointC).toBeCloseTo(-10.71, 1);
    expect(cold.lensWillFog).toBe(true);
    expect(coldOf({ temperatureC: 5, humidityPercent: 40 }).lensWillFog).toBe(false);
  });

  it("says nothing that it was not given", () => {
    expect(coldOf({ temperatureC: -5 })).toMatchObject({
      windChillC: null,
      dewPointC: null,
      lensWillFog: null,
    });
  });

  it("says less than 2 minutes below −55", () => {
    expect(coldOf({ temperatureC: -45, windKmh: 40 }).sentence).toMatch(
      /within less than 2 minutes/,
    );
  });
});

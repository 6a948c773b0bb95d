import { describe, expect, it } from "vitest";
import { rangeAndDefaultOf, SETTING_LIMITS } from "../../../core/exposure/settingLimits.ts";
import { DEFAULT_EXPOSURE_SETTINGS } from "../../../core/exposure/settings.ts";
import { PLAN_COMMAND } from "../../../controller/planning/planCommand.ts";
import { START_COMMAND } from "../../../controller/config.ts";

describe("the limits of the settings", () => {
  it("hold every default between them", () => {
    for (const [setting, { min, max }] of Object.entries(SETTING_LIMITS)) {
      const value = DEFAULT_EXPOSURE_SETTINGS[setting as keyof typeof SETTING_LIMITS];
      if (value === null) continue;
      expect(value, setting).toBeGreaterThanOrEqual(min);
      expect(value, setting).toBeLessThanOrEqual(max);
    }
  });

  it("are the same for the watch and for the plan", () => {
    const { options: start } = START_COMMAND;
    const { options: plan } = PLAN_COMMAND;
    const range = ({ min, max }: { readonly min: number; readonly max: number }) => [min, max];
    for (const option of ["f-number", "iso-max", "focal-length-mm", "pixel-pitch-um"] as const) {
      expect(range(plan[option]), option).toEqual(range(start[option]));
    }
    expect(rangeAndDefaultOf("fNumber")).toEqual({ min: 0.5, max: 32, default: 2.8 });
  });
});

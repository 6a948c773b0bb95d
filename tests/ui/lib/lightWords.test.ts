import { describe, expect, it } from "vitest";
import type { NightLight } from "../../../core/plan/nightLight.ts";
import { clockTime } from "../../../ui/lib/format/time.ts";
import { lightWords } from "../../../ui/lib/strip/lightWords.ts";

const at = (hour: number): number => Date.UTC(2026, 9, 5, hour);
const shown = { startUtcMs: at(16), endUtcMs: at(27) };
const clock = (hour: number): string => clockTime(at(hour), { seconds: false });

function light(changes: Partial<NightLight>): NightLight {
  return { bands: [], moonUp: [], moonIlluminatedFraction: 0.344, ...changes };
}

describe("the words below the strip", () => {
  it("say when it is dark and that there is no Moon", () => {
    const bands = [
      { light: "astronomical", startUtcMs: at(4), endUtcMs: at(19) },
      { light: "dark", startUtcMs: at(19), endUtcMs: at(26) },
      { light: "day", startUtcMs: at(26), endUtcMs: at(40) },
    ] as const;
    expect(lightWords(light({ bands }), shown)).toBe(`Dark ${clock(19)} to ${clock(26)} · no Moon`);
  });

  it("describe the whole night when the strip shows one hour of it", () => {
    const bands = [
      { light: "civil", startUtcMs: at(4), endUtcMs: at(19) },
      { light: "dark", startUtcMs: at(19), endUtcMs: at(26) },
    ] as const;
    const hour = { startUtcMs: at(16), endUtcMs: at(17) };
    expect(lightWords(light({ bands }), hour)).toBe(`Dark ${clock(19)} to ${clock(26)} · no Moon`);
  });

  it("say what is darkest where it never gets dark, and when the Moon is up at 34 %", () => {
    const bands = [
      { light: "civil", startUtcMs: at(4), endUtcMs: at(22) },
      { light: "nautical", startUtcMs: at(22), endUtcMs: at(24) },
      { light: "civil", startUtcMs: at(24), endUtcMs: at(40) },
    ] as const;
    const moonUp = [{ startUtcMs: at(20), endUtcMs: at(40) }];
    expect(lightWords(light({ bands, moonUp }), shown)).toBe(
      `Nautical twilight at its darkest, ${clock(22)} to ${clock(24)} · ` +
        `Moon up ${clock(20)} to ${clock(40)}, 34\u00a0% lit`,
    );
  });

  it("say of a polar night and a Moon that stays up that they last all night", () => {
    const bands = [{ light: "dark", startUtcMs: at(4), endUtcMs: at(40) }] as const;
    const moonUp = [{ startUtcMs: at(4), endUtcMs: at(40) }];
    expect(lightWords(light({ bands, moonUp }), shown)).toBe(
      "Dark all night · Moon up all night, 34\u00a0% lit",
    );
  });
});

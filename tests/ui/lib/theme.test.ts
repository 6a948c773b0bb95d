import { describe, expect, it } from "vitest";
import { themeOf, type Surroundings } from "../../../ui/lib/state/theme.ts";

const NOON: Surroundings = {
  part: "before",
  outside: "light",
  isWatchRunning: false,
  localHour: 12,
  prefersDark: false,
};

describe("the page's theme", () => {
  it.each([
    ["by day before a watch", {}, "day"],
    [
      "at three in the morning after a watch that is over",
      { part: "morning", outside: "dark" },
      "night",
    ],
    ["before dark begins, once the Sun is 6° down", { outside: "dark" }, "night"],
    ["in the night's own part, at noon, too", { part: "watch" }, "night"],
    ["while a watch runs", { isWatchRunning: true }, "night"],
    ["before the program has been heard", { outside: null }, "night"],
    ["without a place, at noon", { outside: "unknown" }, "day"],
    ["without a place, at eight in the evening", { outside: "unknown", localHour: 20 }, "night"],
    ["without a place, at seven in the morning", { outside: "unknown", localHour: 7 }, "night"],
    [
      "without a place, on a system that is dark",
      { outside: "unknown", prefersDark: true },
      "night",
    ],
  ] as const)("%s", (_, changes, theme) => {
    expect(themeOf("auto", { ...NOON, ...changes })).toBe(theme);
  });

  it("is what the photographer chose, whatever the Sun does", () => {
    expect(themeOf("day", { ...NOON, outside: "dark", part: "watch" })).toBe("day");
    expect(themeOf("night", NOON)).toBe("night");
  });
});

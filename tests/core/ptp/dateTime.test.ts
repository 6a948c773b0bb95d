import { describe, expect, it } from "vitest";
import { captureDateMs } from "../../../core/ptp/dateTime.ts";

describe("capture date", () => {
  // Forms by ISO 15740's DateTime string, from memory: tenths and zone may be left out.
  it.each([
    ["20260110T203000", Date.UTC(2026, 0, 10, 20, 30, 0)],
    ["20260110T203000.5", Date.UTC(2026, 0, 10, 20, 30, 0, 500)],
    ["20260110T203000.25Z", Date.UTC(2026, 0, 10, 20, 30, 0, 250)],
    ["20260110T213000+0100", Date.UTC(2026, 0, 10, 20, 30, 0)],
    ["20260110T200000.0-0330", Date.UTC(2026, 0, 10, 23, 30, 0)],
  ])("reads %s", (text, expected) => {
    expect(captureDateMs(text)).toBe(expected);
  });

  it.each(["", "2026-01-10T20:30:00", "20260110", "20260231T203000", "garbage"])(
    "gives null for %j",
    (text) => {
      expect(captureDateMs(text)).toBeNull();
    },
  );
});

import { describe, expect, it } from "vitest";
import { ExposureWays, isRefusal } from "../../../controller/shutter/exposureWays.ts";
import { NightError } from "../../../core/errors.ts";

const MINUTE_MS = 60_000;

describe("ways of making an exposure", () => {
  it("leaves a way aside after its third refusal in a row, for five minutes", () => {
    const ways = new ExposureWays();
    expect([1, 2, 3].map((atMs) => ways.noteRefusal("bulb", atMs))).toEqual([false, false, true]);
    expect(ways.isOpen("bulb", 5)).toBe(false);
    expect(ways.isOpen("timed", 5)).toBe(true);
    expect(ways.isOpen("bulb", 3 + 5 * MINUTE_MS)).toBe(true);
  });

  it("asks once when the five minutes are over, and leaves it aside again at the next refusal", () => {
    const ways = new ExposureWays();
    for (const atMs of [1, 2, 3]) ways.noteRefusal("bulb", atMs);
    expect(ways.noteRefusal("bulb", 6 * MINUTE_MS)).toBe(true);
    expect(ways.isOpen("bulb", 7 * MINUTE_MS)).toBe(false);
  });

  it("counts from nothing after a way has served", () => {
    const ways = new ExposureWays();
    for (const atMs of [1, 2]) ways.noteRefusal("timed", atMs);
    ways.noteSuccess("timed");
    expect(ways.noteRefusal("timed", 3)).toBe(false);
  });

  it("asks at once when a dial was turned", () => {
    const ways = new ExposureWays();
    for (const atMs of [1, 2, 3]) ways.noteRefusal("bulb", atMs);
    ways.reconsider();
    expect(ways.isOpen("bulb", 4)).toBe(true);
  });

  it("takes busy and silence for no refusal", () => {
    expect(isRefusal(new NightError("camera.busy", "The camera is busy."))).toBe(false);
    expect(isRefusal(new NightError("camera.gone", "The link is lost."))).toBe(false);
    expect(isRefusal(new NightError("ptp.response", "AccessDenied"))).toBe(true);
  });
});

import { describe, expect, it } from "vitest";
import { boxOf, momentOf, videosOf } from "../../../controller/deliver/orderFromOptions.ts";

describe("the command line of a delivery", () => {
  it("knows sizes by their lines and by width and height", () => {
    expect(boxOf("2160")).toEqual({ widthPx: 3840, heightPx: 2160 });
    expect(boxOf("1920x1280")).toEqual({ widthPx: 1920, heightPx: 1280 });
    for (const wrong of ["4k", "0x0", "9999x9999", "10"])
      expect(() => boxOf(wrong)).toThrow(/--size/);
  });

  it("knows codecs in any order, and none", () => {
    expect(videosOf("vp9, h264")).toEqual(["h264", "vp9"]);
    expect(videosOf("none")).toEqual([]);
    expect(() => videosOf("h264,film")).toThrow(/--video/);
  });

  it("takes a time of day for the night's own, also after midnight", () => {
    const start = Date.UTC(2026, 0, 10, 20, 0);
    expect(momentOf("from", "22:30", start)).toBe(Date.UTC(2026, 0, 10, 22, 30));
    expect(momentOf("to", "02:15:30", start)).toBe(Date.UTC(2026, 0, 11, 2, 15, 30));
    expect(momentOf("to", "2026-01-11T03:00Z", start)).toBe(Date.UTC(2026, 0, 11, 3));
    expect(momentOf("to", null, start)).toBeNull();
    for (const wrong of ["25:00", "soon", "12:99"]) {
      expect(() => momentOf("to", wrong, start)).toThrow(/--to/);
    }
  });
});

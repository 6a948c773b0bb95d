import { describe, expect, it } from "vitest";
import {
  rawOf,
  STANDARD_CONTROLS,
  valueOf,
  type ValueCoding,
} from "../../../controller/cameras/standardControls.ts";

describe("the coding of a setting", () => {
  it("is the standard's: 0.1 ms for exposure times, hundredths for f-numbers, plain ISO", () => {
    // Worked values of the MTP 1.1 text, appendix C: 30 s is 300000, f/2.8 is 280.
    const { exposureTime, fNumber, iso } = STANDARD_CONTROLS;
    expect(rawOf(30, exposureTime!.coding)).toBe(300_000);
    expect(valueOf(280, fNumber!.coding)).toBe(2.8);
    expect(valueOf(3200, iso!.coding)).toBe(3200);
  });

  it("is a table where a camera has its own codes; what is not in it has no value", () => {
    const coding: ValueCoding = {
      kind: "table",
      entries: [
        { code: 0x48, value: 100 },
        { code: 0x50, value: 200 },
      ],
    };
    expect(valueOf(0x50, coding)).toBe(200);
    expect(rawOf(100, coding)).toBe(0x48);
    expect(valueOf(0x99, coding)).toBeNull();
    expect(rawOf(150, coding)).toBeNull();
  });

  it("takes zero, which stands for nothing, as no value", () => {
    expect(valueOf(0, { kind: "scale", perUnit: 100 })).toBeNull();
  });
});

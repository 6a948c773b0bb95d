import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";
import { rawOf, valueOf, type ValueCoding } from "../../../core/profiles/cameraControls.ts";
import { readEventRecords } from "../../../core/profiles/eventRecords.ts";

describe("values in properties", () => {
  it.each([
    [{ kind: "rational" }, 0x00010004, 0.25],
    [{ kind: "rational" }, 0x012c000a, 30],
    [{ kind: "exponential", unit: 1, zeroRaw: 0x08, perStop: 16 }, 0x18, 2],
    [{ kind: "exponential", unit: 1, zeroRaw: 0x38, perStop: -8 }, 0x30, 2],
  ] as const)("by %j: raw %d is %d, both ways", (coding, raw, value) => {
    expect(valueOf(raw, coding)).toBeCloseTo(value, 9);
    expect(rawOf(value, coding)).toBe(raw);
  });

  it.each([0, 0x00010000, 0x0000000a])("as a fraction: raw %d is no value", (raw) => {
    expect(valueOf(raw, { kind: "rational" })).toBeNull();
  });

  it("come back within half a rung, whatever they are", () => {
    const codings: readonly ValueCoding[] = [
      { kind: "rational" },
      { kind: "exponential", unit: 1, zeroRaw: 56, perStop: -8 },
    ];
    fc.assert(
      fc.property(
        fc.constantFrom(...codings),
        fc.double({ min: 1 / 4000, max: 900, noNaN: true }),
        (coding, value) => {
          const raw = rawOf(value, coding);
          const back = raw === null ? null : valueOf(raw, coding);
          // A tenth of a second of 0.3 s is the coarsest step of the fraction.
          expect(Math.abs(Math.log2(back! / value))).toBeLessThan(0.26);
        },
      ),
    );
  });
});

describe("events that were asked for", () => {
  it("are read as counted pairs", () => {
    const data = Uint8Array.from([2, 0, 0x01, 0xc1, 5, 0, 0, 0, 0x02, 0xc1, 0, 0, 0, 0]);
    expect(readEventRecords(data, "countedPairs")).toEqual([
      { eventCode: 0xc101, parameter: 5 },
      { eventCode: 0xc102, parameter: 0 },
    ]);
  });

  it("are read as sized records until the empty one", () => {
    const data = Uint8Array.from([
      ...[16, 0, 0, 0, 0x81, 0xc1, 0, 0, 7, 0, 0, 0, 1, 1, 1, 1],
      ...[8, 0, 0, 0, 0, 0, 0, 0],
      ...[12, 0, 0, 0, 1, 0, 0, 0, 9, 0, 0, 0],
    ]);
    expect(readEventRecords(data, "sizedRecords")).toEqual([{ eventCode: 0xc181, parameter: 7 }]);
  });

  it.each(["countedPairs", "sizedRecords"] as const)(
    "never run past the end of what came, as %s",
    (layout) => {
      fc.assert(
        fc.property(fc.uint8Array({ maxLength: 64 }), (data) => {
          expect(readEventRecords(data, layout).length).toBeLessThanOrEqual(data.length / 6);
        }),
      );
    },
  );
});

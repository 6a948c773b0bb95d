import { describe, expect, test } from "vitest";
import { dateTimeUtcMs, formatDateTime, parseDateTime } from "../../../core/ptp/dateTime.ts";
import {
  isLegal,
  legalValues,
  type PropertyForm,
} from "../../../core/ptp/datasets/devicePropDesc.ts";
import { EVENTS, eventName } from "../../../core/ptp/events.ts";
import { FORMATS, isFormatCode, isImageFormat } from "../../../core/ptp/formats.ts";
import { nextTransactionId, objectHandle, transactionId } from "../../../core/ptp/ids.ts";
import { OPERATIONS, operationOf, operationOfCode } from "../../../core/ptp/operations.ts";
import {
  batteryLevel,
  exposureIndex,
  exposureProgramMode,
  exposureTime,
  fNumber,
  focusMode,
  imageSize,
  dateTimeProperty,
  PROPERTIES,
  propertyLine,
  propertyName,
} from "../../../core/ptp/properties.ts";
import { RESPONSES, responseName } from "../../../core/ptp/responses.ts";

describe("transactions", () => {
  test.each([
    [0, 1],
    [1, 2],
    [0xfffffffd, 0xfffffffe],
    [0xfffffffe, 1],
    [0xffffffff, 1],
  ])("after 0x%s comes %d", (current, next) => {
    expect(nextTransactionId(transactionId(current))).toBe(next);
  });

  test.each([-1, 0x100000000, 1.5, NaN])("%d is no number of one", (value) => {
    const outOfRange = expect.objectContaining({ code: "quantity.out_of_range" });
    expect(() => transactionId(value)).toThrowError(outOfRange);
    expect(() => objectHandle(value)).toThrowError(outOfRange);
  });
});

describe("names", () => {
  test("known codes have the standard's name, others their number", () => {
    expect(responseName(RESPONSES.DeviceBusy)).toBe("DeviceBusy");
    expect(responseName(0xa001)).toBe("response 0xa001");
    expect(eventName(EVENTS.ObjectAdded)).toBe("ObjectAdded");
    expect(eventName(0xc101)).toBe("event 0xc101");
    expect(operationOfCode(0x101b, "toInitiator").name).toBe("GetPartialObject");
    expect(operationOfCode(0x9001, "none").name).toBe("operation 0x9001");
    expect(propertyName(0x500d)).toBe("ExposureTime");
    expect(propertyName(0xd001)).toBe("property 0xd001");
  });

  test("every code stands in its kind's range and only once", () => {
    const kinds: readonly [number, readonly number[]][] = [
      [0x1000, Object.values(OPERATIONS).map(({ code }) => code)],
      [0x2000, Object.values(RESPONSES)],
      [0x3000, Object.values(FORMATS)],
      [0x4000, Object.values(EVENTS)],
      [0x5000, PROPERTIES.map(({ code }) => code)],
    ];
    for (const [range, codes] of kinds) {
      expect(codes.every((code) => (code & 0xf000) === range)).toBe(true);
      expect(new Set(codes).size).toBe(codes.length);
    }
  });

  test("InitiateOpenCapture is 0x101C, not GetPartialObject's 0x101B", () => {
    expect(operationOf(0x101c)).toBe(OPERATIONS.InitiateOpenCapture);
    expect(operationOf(0x101b)).toBe(OPERATIONS.GetPartialObject);
    expect(operationOf(0x101d)).toBeNull();
  });

  test.each([
    [0x3801, true],
    [0x3000, false],
    [0x3001, false],
    [0xb103, true],
    [0xb982, false],
  ])("format 0x%s is an image: %s", (code, isImage) => {
    expect(isImageFormat(code)).toBe(isImage);
  });

  test.each([
    [0x3801, true],
    [0xb101, true],
    [0x500d, false],
    [0xd001, false],
    [0x1001, false],
    [0x13801, false],
  ])("code %d is a format: %s", (code, isFormat) => {
    expect(isFormatCode(code)).toBe(isFormat);
  });
});

describe("property values", () => {
  test.each([
    [exposureTime, 300_000, 30],
    [exposureTime, 80, 0.008],
    [fNumber, 280, 2.8],
    [batteryLevel, 87, 87],
    [exposureIndex, 3200, 3200],
    [exposureProgramMode, 1, { kind: "manual" }],
    [exposureProgramMode, 0x8003, { kind: "unknown", value: 0x8003 }],
    [focusMode, 2, { kind: "automatic" }],
    [imageSize, "6000x4000", { widthPx: 6000, heightPx: 4000 }],
    [dateTimeProperty, "20260102T030405Z", { wallMs: 1767323045000, offsetMinutes: 0 }],
  ] as const)("$name $1 means $2 and back", (property, raw, meaning) => {
    expect(property.decode(raw)).toEqual(meaning);
    expect((property.encode as (value: unknown) => unknown)(meaning)).toBe(raw);
  });

  test("a bulb time of 7.43 s is 74300 units", () => {
    expect(exposureTime.encode(7.43)).toBe(74_300);
  });

  test("a number may come in any integer type", () => {
    expect(exposureTime.decode(300_000n)).toBe(30);
  });

  test.each([
    ["a text for a number", exposureTime, "30"],
    ["a code for bulb", exposureTime, 0xffffffff],
    ["no time at all", exposureTime, 0],
    ["the device's own choice", exposureIndex, 0xffff],
    ["perhaps mains power", batteryLevel, 0],
    ["more than full", batteryLevel, 101],
    ["a number for a text", imageSize, 30],
    ["no size", imageSize, "large"],
    ["no day", dateTimeProperty, "20260231T000000"],
    ["a text for a choice", focusMode, "manual"],
  ] as const)("%s is null", (_, property, raw) => {
    expect(property.decode(raw)).toBeNull();
  });

  test.each([
    [0x500d, 300_000, "ExposureTime 30 s"],
    [0x500d, 0xffffffff, "ExposureTime raw 4294967295"],
    [0x5007, 280, "FNumber 2.8"],
    [0x5001, 87, "BatteryLevel 87 %"],
    [0x500e, 1, "ExposureProgramMode manual"],
    [0x500e, 0x8003, "ExposureProgramMode raw 32771"],
    [0x5003, "6000x4000", "ImageSize 6000x4000"],
    [0xd102, 5, "property 0xd102 raw 5"],
  ])("a line of the log says of property %d at %s: %s", (code, raw, line) => {
    expect(propertyLine(code, raw)).toBe(line);
  });
});

describe("legal values", () => {
  const range: PropertyForm = { kind: "range", min: 10, max: 31, step: 5 };
  const list: PropertyForm = { kind: "enumeration", values: [100, 200] };

  test("a range is counted out up to its maximum", () => {
    expect(legalValues(range)).toEqual([10, 15, 20, 25, 30]);
  });

  test.each([
    { kind: "range", min: 10, max: 30, step: 0 },
    { kind: "range", min: 30, max: 10, step: 5 },
    { kind: "range", min: 0, max: 0xffffffff, step: 1 },
    { kind: "range", min: "1x1", max: "9x9", step: "1x1" },
    { kind: "none" },
    { kind: "unknown", formFlag: 7 },
  ] as const)("%j gives none", (form) => {
    expect(legalValues(form)).toEqual([]);
  });

  test.each([
    [range, 15, true],
    [range, 16, false],
    [range, 35, false],
    [range, 5, false],
    [list, 200, true],
    [list, 150, false],
    [{ kind: "none" } as const, 7, true],
    [{ kind: "range", min: "a", max: "c", step: "" } as const, "b", true],
    [{ kind: "range", min: "a", max: "c", step: "" } as const, "d", false],
  ])("%j allows %s: %s", (form, value, allowed) => {
    expect(isLegal(form, value)).toBe(allowed);
  });
});

// Source of the form: MTP 1.1 §3.2.5.
describe("dates and times", () => {
  const wallMs = Date.UTC(2026, 0, 2, 3, 4, 5);

  test.each([
    ["20260102T030405", { wallMs, offsetMinutes: null }],
    ["20260102T030405.7", { wallMs: wallMs + 700, offsetMinutes: null }],
    ["20260102T030405Z", { wallMs, offsetMinutes: 0 }],
    ["20260102T030405+0200", { wallMs, offsetMinutes: 120 }],
    ["20260102T030405.7-0330", { wallMs: wallMs + 700, offsetMinutes: -210 }],
  ])("%s is read and written", (text, moment) => {
    expect(parseDateTime(text)).toEqual(moment);
    expect(formatDateTime(moment, { withTenths: text.includes(".") })).toBe(text);
  });

  test.each([
    "",
    "garbage",
    "20260230T000000",
    "20261301T000000",
    "20260102T240000",
    "20260102T030460",
    "2026-01-02T03:04:05",
    "00000000T000000",
  ])("%j is unknown rather than an error", (text) => {
    expect(parseDateTime(text)).toBeNull();
  });

  test("a zone that is written outranks the assumed one", () => {
    const withZone = parseDateTime("20260102T030405+0200")!;
    const without = parseDateTime("20260102T030405")!;
    expect(dateTimeUtcMs(withZone, 60)).toBe(wallMs - 7_200_000);
    expect(dateTimeUtcMs(without, 60)).toBe(wallMs - 3_600_000);
  });
});

import { describe, expect, test } from "vitest";
import { decodeContainer, decodeContainerHeader } from "../../../core/ptp/container.ts";
import { deviceInfo } from "../../../core/ptp/datasets/deviceInfo.ts";
import {
  decodeDevicePropDesc,
  decodePropertyValue,
  encodePropertyValue,
} from "../../../core/ptp/datasets/devicePropDesc.ts";
import { decodeHandles } from "../../../core/ptp/datasets/handles.ts";
import { objectInfo } from "../../../core/ptp/datasets/objectInfo.ts";
import { freeBytesOf, freeImagesOf, storageInfo } from "../../../core/ptp/datasets/storageInfo.ts";
import { arrayOf, dataTypeOf, string, uint16, uint32, uint8 } from "../../../core/ptp/dataTypes.ts";
import { decodeIpPacket } from "../../../core/ptp/ipPacket.ts";
import { createIpStream } from "../../../core/ptp/ipStream.ts";
import { createReader } from "../../../core/ptp/reader.ts";
import { createWriter } from "../../../core/ptp/writer.ts";
import { fromHex, toHex } from "../../support/hex.ts";

function fails(code: string): unknown {
  return expect.objectContaining({ code });
}

describe("a PTP/IP packet whose length cannot be", () => {
  test.each([
    ["a length below the header", "07 00 00 00 0d 00 00 00"],
    ["an InitCommandRequest without a whole GUID", "17 00 00 00 01 00 00 00"],
    ["an InitEventRequest of 16 bytes", "10 00 00 00 03 00 00 00 01 00 00 00 00 00 00 00"],
    ["a request of 17 bytes", "11 00 00 00 06 00 00 00 01 00 00 00 01 10 00 00 00"],
    ["a request of six parameters", `2a 00 00 00 06 00 00 00 ${"00 ".repeat(34)}`],
    ["a response of half a parameter", "10 00 00 00 07 00 00 00 01 20 00 00 00 00 01 00"],
    ["an event of four parameters", `1e 00 00 00 08 00 00 00 ${"00 ".repeat(22)}`],
    ["a StartData of 16 bytes", "10 00 00 00 09 00 00 00 01 00 00 00 00 00 00 00"],
    ["a Data without a transaction", "0a 00 00 00 0a 00 00 00 01 00"],
    ["more bytes than it says", "08 00 00 00 04 00 00 00 ff"],
    ["fewer bytes than it says", "10 00 00 00 0c 00 00 00 01 00 00 00"],
  ])("%s is refused", (_name, bytes) => {
    expect(() => decodeIpPacket(fromHex(bytes))).toThrowError(fails("ptp.malformed"));
  });

  test.each([
    ["2 GiB of data", "00 00 00 80 0a 00 00 00"],
    ["17 MiB of data", "00 00 10 01 0c 00 00 00"],
    ["a friendly name of 64 KiB", "01 00 01 00 01 00 00 00"],
    ["an unknown type of 64 KiB", "01 00 01 00 63 00 00 00"],
  ])("%s is refused by its first eight bytes alone", (_name, bytes) => {
    expect(() => [...createIpStream().push(fromHex(bytes))]).toThrowError(fails("ptp.malformed"));
  });

  test("what came whole before it is handed out first, and nothing after it", () => {
    const stream = createIpStream();
    const packets: string[] = [];
    const read = (bytes: string): void => {
      for (const packet of stream.push(fromHex(bytes))) packets.push(packet.kind);
    };
    expect(() => read("08 00 00 00 0d 00 00 00 01 00 00 00 04 00 00 00")).toThrowError();
    expect(packets).toEqual(["probeRequest"]);
    expect(() => read("08 00 00 00 0d 00 00 00")).toThrowError(fails("ptp.malformed"));
    expect(packets).toEqual(["probeRequest"]);
  });
});

describe("a PTP/IP packet that senders write in their own way", () => {
  const guid = "00 11 22 33 44 55 66 77 88 99 aa bb cc dd ee ff";

  test("an introduction without a version is of version 1.0", () => {
    const packet = decodeIpPacket(fromHex(`1c 00 00 00 01 00 00 00 ${guid} 48 00 00 00`));
    expect(packet).toMatchObject({ friendlyName: "H", protocolVersion: 0x00010000 });
  });

  test("a friendly name without its NUL reaches to the end", () => {
    const packet = decodeIpPacket(fromHex(`1c 00 00 00 01 00 00 00 ${guid} 48 00 6f 00`));
    expect(packet).toMatchObject({ friendlyName: "Ho", protocolVersion: 0x00010000 });
  });

  test("an odd byte at the end of the name does no harm", () => {
    const packet = decodeIpPacket(fromHex(`1b 00 00 00 01 00 00 00 ${guid} 48 00 6f`));
    expect(packet).toMatchObject({ friendlyName: "H" });
  });

  test("an InitFail without a reason is unspecified", () => {
    expect(decodeIpPacket(fromHex("08 00 00 00 05 00 00 00"))).toEqual({
      kind: "initFail",
      reason: 3,
    });
  });

  test("a probe with something in it is a probe", () => {
    expect(decodeIpPacket(fromHex("0c 00 00 00 0d 00 00 00 01 02 03 04"))).toEqual({
      kind: "probeRequest",
    });
  });

  test("a type that nobody has defined is kept as unknown", () => {
    const packet = decodeIpPacket(fromHex("0a 00 00 00 63 00 00 00 01 02"));
    expect(packet).toEqual({ kind: "unknown", type: 99, payload: fromHex("01 02") });
  });
});

describe("a USB container", () => {
  test.each([
    ["a length below 12", "0b 00 00 00 03 00 01 20 00 00 00 00"],
    ["type 0", "0c 00 00 00 00 00 01 20 00 00 00 00"],
    ["type 5", "0c 00 00 00 05 00 01 20 00 00 00 00"],
    ["a command of 13 bytes", "0d 00 00 00 01 00 02 10 00 00 00 00 01"],
    ["a command of six parameters", `24 00 00 00 01 00 02 10 ${"00 ".repeat(28)}`],
    ["an event of four parameters", `1c 00 00 00 04 00 02 40 ${"00 ".repeat(20)}`],
    ["a response of unknown length", "ff ff ff ff 03 00 01 20 00 00 00 00"],
  ])("of %s is refused", (_name, bytes) => {
    expect(() => decodeContainerHeader(fromHex(bytes))).toThrowError(fails("ptp.malformed"));
  });

  test("with bytes after its end is refused as too long", () => {
    const bytes = fromHex("0c 00 00 00 03 00 01 20 00 00 00 00 00");
    expect(() => decodeContainer(bytes)).toThrowError(fails("ptp.trailing_bytes"));
  });

  test("of data of unknown length takes all there is", () => {
    const container = decodeContainer(fromHex("ff ff ff ff 02 00 09 10 04 00 00 00 01 02 03"));
    expect(container).toMatchObject({ kind: "data", payload: fromHex("01 02 03") });
  });
});

describe("a dataset", () => {
  const DEVICE = `64 00 00 00 00 00 00 00 00 00 00 01 00 00 00 01 10 00 00 00 00 00 00 00 00
    00 00 00 00 00 00 00 00`;

  test("without its last strings has them empty", () => {
    const info = deviceInfo.decode(fromHex(DEVICE));
    expect(info.operationsSupported).toEqual([0x1001]);
    expect([info.manufacturer, info.model, info.serialNumber]).toEqual(["", "", ""]);
  });

  test("with bytes after its end is read all the same", () => {
    const info = deviceInfo.decode(fromHex(`${DEVICE} 00 00 00 00 de ad`));
    expect(info.serialNumber).toBe("");
  });

  test("that ends within a field is refused", () => {
    expect(() => deviceInfo.decode(fromHex(`${DEVICE} 05 41 00`))).toThrowError(
      fails("ptp.truncated"),
    );
  });

  test("of a few bytes that cannot be one is refused", () => {
    expect(() => objectInfo.decode(fromHex("01 00 01 00"))).toThrowError(fails("ptp.truncated"));
    expect(() => storageInfo.decode(new Uint8Array())).toThrowError(fails("ptp.truncated"));
  });

  test("with an array of four thousand million is refused before anything is allocated", () => {
    expect(() => decodeHandles(fromHex("ff ff ff ff 01 00 00 00"))).toThrowError(
      fails("ptp.truncated"),
    );
  });

  test.each([
    [0xffffffffn, null],
    [0xffffffffffffffffn, null],
    [0n, 0],
    [12_000_000_000n, 12_000_000_000],
  ])("free space of %d means %s", (freeSpaceBytes, meaning) => {
    const info = {
      storageType: 4,
      filesystemType: 3,
      accessCapability: 0,
      maxCapacityBytes: 1n,
      freeSpaceBytes,
      freeSpaceImages: 0xffffffff,
      storageDescription: "",
      volumeLabel: "",
    };
    expect(freeBytesOf(info)).toBe(meaning);
    expect(freeImagesOf(info)).toBeNull();
  });
});

describe("a property description", () => {
  test("of an unknown data type keeps its code and whether it can be set", () => {
    expect(decodeDevicePropDesc(fromHex("0d 50 77 00 01 de ad be ef"))).toEqual({
      kind: "undescribed",
      code: 0x500d,
      dataTypeCode: 0x77,
      isSettable: true,
    });
  });

  test.each([
    ["no form at all", "01 50 02 00 00 64 57", { kind: "none" }],
    ["an unknown form", "01 50 02 00 00 64 57 09 01 02", { kind: "unknown", formFlag: 9 }],
    ["a cut enumeration", "01 50 02 00 00 64 57 02 03 00 01", { kind: "unknown", formFlag: 2 }],
    ["a cut range", "01 50 02 00 00 64 57 01 00 64", { kind: "unknown", formFlag: 1 }],
    ["an empty enumeration", "01 50 02 00 00 64 57 02 00 00", { kind: "enumeration", values: [] }],
  ])("with %s keeps its values", (_name, bytes, form) => {
    expect(decodeDevicePropDesc(fromHex(bytes))).toMatchObject({ current: 87, form });
  });

  test("cut within its values is refused", () => {
    expect(() => decodeDevicePropDesc(fromHex("0d 50 06 00 01 50 00"))).toThrowError(
      fails("ptp.truncated"),
    );
  });

  test("of an array holds arrays as values and single elements in its form", () => {
    const bytes = "01 d0 04 40 01 01 00 00 00 05 00 02 00 00 00 06 00 07 00 02 02 00 05 00 06 00";
    expect(decodeDevicePropDesc(fromHex(bytes))).toMatchObject({
      factoryDefault: [5],
      current: [6, 7],
      form: { kind: "enumeration", values: [5, 6] },
    });
  });

  test("a value that is too short or too long for its type is refused", () => {
    expect(() => decodePropertyValue(uint32, fromHex("01 00"))).toThrowError(
      fails("ptp.truncated"),
    );
    expect(() => decodePropertyValue(uint16, fromHex("01 00 00"))).toThrowError(
      fails("ptp.trailing_bytes"),
    );
  });

  test("a value that does not fit its type is not written", () => {
    expect(() => encodePropertyValue(uint8, 256)).toThrowError(fails("quantity.out_of_range"));
    expect(() => encodePropertyValue(uint16, 1.5)).toThrowError(fails("quantity.out_of_range"));
  });
});

describe("a string", () => {
  const read = (bytes: string): string => string.read(createReader(fromHex(bytes)));

  test.each([
    ["a lone NUL", "01 00 00", ""],
    ["no NUL at its end", "02 41 00 42 00", "AB"],
    ["text after a NUL", "04 41 00 00 00 42 00 43 00", "A"],
    ["half a surrogate pair", "03 41 00 00 d8 00 00", "A\uFFFD"],
    ["the halves the wrong way round", "03 00 dc 00 d8 00 00", "\uFFFD\uFFFD"],
    ["a whole pair", "03 34 d8 1e dd 00 00", "\u{1D11E}"],
  ])("with %s is read", (_name, bytes, text) => {
    expect(read(bytes)).toBe(text);
  });

  test("longer than its dataset is refused", () => {
    expect(() => read("ff 41 00")).toThrowError(fails("ptp.truncated"));
  });

  const written = (text: string): Uint8Array => {
    const writer = createWriter();
    writer.string(text);
    return writer.toBytes();
  };

  test("of 300 characters is shortened to 254 and its NUL", () => {
    const bytes = written("x".repeat(300));
    expect([bytes[0], bytes.byteLength]).toEqual([255, 511]);
  });

  test("is not cut between the halves of a surrogate pair", () => {
    const bytes = written(`${"x".repeat(253)}\u{1D11E}`);
    expect([bytes[0], bytes.byteLength]).toEqual([254, 509]);
  });

  test("with a NUL inside is not written, half a pair only as a replacement", () => {
    expect(() => written("a\0b")).toThrowError(fails("quantity.out_of_range"));
    expect(toHex(written("\uD800"))).toBe("02 fd ff 00 00");
  });
});

describe("data types", () => {
  test("an unknown code has none", () => {
    expect([0x0000, 0x000b, 0x4000, 0x8001].map(dataTypeOf)).toEqual([null, null, null, null]);
  });

  test("the longest integers are least significant word first", () => {
    const writer = createWriter();
    writer.u128(0x000102030405060708090a0b0c0d0e0fn);
    expect(toHex(writer.toBytes())).toBe("0f 0e 0d 0c 0b 0a 09 08 07 06 05 04 03 02 01 00");
  });

  test("a leftover after a value is distinguished from a lack of bytes", () => {
    const reader = createReader(fromHex("01 00 00 00 05 ff"));
    arrayOf(uint8).read(reader);
    expect(() => reader.end()).toThrowError(fails("ptp.trailing_bytes"));
  });
});

import fc from "../../support/properties.ts";
import { describe, expect, test } from "vitest";
import { decodeContainer, encodeContainer, type Container } from "../../../core/ptp/container.ts";
import { deviceInfo, type DeviceInfo } from "../../../core/ptp/datasets/deviceInfo.ts";
import {
  decodeDevicePropDesc,
  encodeDevicePropDesc,
  type DevicePropDesc,
} from "../../../core/ptp/datasets/devicePropDesc.ts";
import { decodeHandles, encodeHandles } from "../../../core/ptp/datasets/handles.ts";
import { objectInfo, type ObjectInfo } from "../../../core/ptp/datasets/objectInfo.ts";
import { storageInfo } from "../../../core/ptp/datasets/storageInfo.ts";
import {
  arrayOf,
  dataTypeOf,
  int128,
  int16,
  int32,
  int64,
  int8,
  string,
  uint128,
  uint16,
  uint32,
  uint64,
  uint8,
  type DataType,
} from "../../../core/ptp/dataTypes.ts";
import { transactionId } from "../../../core/ptp/ids.ts";
import { decodeIpPacket, encodeIpPacket, type IpPacket } from "../../../core/ptp/ipPacket.ts";
import { createIpStream, dataPhasePackets } from "../../../core/ptp/ipStream.ts";
import { createReader } from "../../../core/ptp/reader.ts";
import { createWriter } from "../../../core/ptp/writer.ts";

const u8 = fc.integer({ min: 0, max: 0xff });
const u16 = fc.integer({ min: 0, max: 0xffff });
const u32 = fc.integer({ min: 0, max: 0xffffffff });
const u64 = fc.bigInt({ min: 0n, max: 2n ** 64n - 1n });
const transaction = u32.map(transactionId);
const text = fc
  .string({ unit: "grapheme", maxLength: 60 })
  .filter((value) => !value.includes("\0") && value.length <= 254);
const codes = fc.array(u16, { maxLength: 20 });

function written<T>(type: DataType, value: T): Uint8Array {
  const writer = createWriter();
  type.write(writer, value as never);
  return writer.toBytes();
}

const VALUES: readonly [DataType, fc.Arbitrary<unknown>][] = [
  [int8, fc.integer({ min: -0x80, max: 0x7f })],
  [uint8, u8],
  [int16, fc.integer({ min: -0x8000, max: 0x7fff })],
  [uint16, u16],
  [int32, fc.integer({ min: -(2 ** 31), max: 2 ** 31 - 1 })],
  [uint32, u32],
  [int64, fc.bigInt({ min: -(2n ** 63n), max: 2n ** 63n - 1n })],
  [uint64, u64],
  [int128, fc.bigInt({ min: -(2n ** 127n), max: 2n ** 127n - 1n })],
  [uint128, fc.bigInt({ min: 0n, max: 2n ** 128n - 1n })],
  [string, text],
  [arrayOf(uint16), codes],
  [arrayOf(int128), fc.array(fc.bigInt({ min: -(2n ** 127n), max: 2n ** 127n - 1n }))],
];

describe("data types", () => {
  test.each(VALUES)("every value of $name comes back", (type, values) => {
    fc.assert(
      fc.property(values, (value) => {
        const reader = createReader(written(type, value));
        expect(type.read(reader)).toEqual(value);
        reader.end();
      }),
    );
  });

  test.each(VALUES)("$name is found by its code and as an array by 0x4000 more", (type) => {
    expect(dataTypeOf(type.code)?.name).toBe(type.name);
    if (type.code < 0x4000) {
      expect(dataTypeOf(0x4000 | type.code)?.name).toBe(`array of ${type.name}`);
    }
  });

  test.each(VALUES)("every shortening of a $name is reported as truncated", (type, values) => {
    fc.assert(
      fc.property(values, fc.nat(), (value, cut) => {
        const bytes = written(type, value);
        const shorter = bytes.subarray(0, cut % bytes.byteLength);
        expect(() => type.read(createReader(shorter))).toThrowError(
          expect.objectContaining({ code: "ptp.truncated" }),
        );
      }),
    );
  });
});

const parameterPacket = (countMax: number): fc.Arbitrary<{ parameters: number[] }> =>
  fc.record({
    code: u16,
    transactionId: transaction,
    parameters: fc.array(u32, { maxLength: countMax }),
  });
const guid = fc.uint8Array({ minLength: 16, maxLength: 16 });
const name = text.filter((value) => value.length <= 39);
const payload = fc.uint8Array({ maxLength: 200 });

const packets: fc.Arbitrary<IpPacket> = fc.oneof(
  fc.record({
    kind: fc.constant("initCommandRequest"),
    guid,
    friendlyName: name,
    protocolVersion: u32,
  }),
  fc.record({
    kind: fc.constant("initCommandAck"),
    connectionNumber: u32,
    guid,
    friendlyName: name,
    protocolVersion: u32,
  }),
  fc.record({ kind: fc.constant("initEventRequest"), connectionNumber: u32 }),
  fc.record({ kind: fc.constantFrom("initEventAck", "probeRequest", "probeResponse") }),
  fc.record({ kind: fc.constant("initFail"), reason: u32 }),
  parameterPacket(5).chain((fields) =>
    u32.map((dataPhaseInfo) => ({ kind: "operationRequest", dataPhaseInfo, ...fields })),
  ),
  parameterPacket(5).map((fields) => ({ kind: "operationResponse", ...fields })),
  parameterPacket(3).map((fields) => ({ kind: "event", ...fields })),
  fc.record({ kind: fc.constant("startData"), transactionId: transaction, totalBytes: u64 }),
  fc.record({ kind: fc.constantFrom("data", "endData"), transactionId: transaction, payload }),
  fc.record({ kind: fc.constant("cancel"), transactionId: transaction }),
  fc.record({
    kind: fc.constant("unknown"),
    type: fc.integer({ min: 15, max: 0xffffffff }),
    payload,
  }),
) as fc.Arbitrary<IpPacket>;

describe("PTP/IP packets", () => {
  test("every packet comes back", () => {
    fc.assert(
      fc.property(packets, (packet) => {
        expect(decodeIpPacket(encodeIpPacket(packet))).toEqual(packet);
      }),
      { numRuns: 500 },
    );
  });

  /** What a stream yields of packets that arrive in pieces of these sizes, over and over. */
  function* cutUp(
    sent: readonly IpPacket[],
    cuts: readonly number[],
    stream = createIpStream(),
  ): Generator<IpPacket> {
    const wire = Uint8Array.from(sent.flatMap((packet) => [...encodeIpPacket(packet)]));
    for (let start = 0, turn = 0; start < wire.length; turn += 1) {
      const end = start + cuts[turn % cuts.length]!;
      yield* stream.push(wire.slice(start, end));
      start = end;
    }
    expect(stream.pendingBytes()).toBe(0);
  }
  const cutting = fc.array(fc.integer({ min: 1, max: 40 }), { minLength: 1 });

  test("a stream gives the same packets wherever it is cut", () => {
    fc.assert(
      fc.property(fc.array(packets, { maxLength: 12 }), cutting, (sent, cuts) => {
        expect([...cutUp(sent, cuts)]).toEqual(sent);
      }),
    );
  });

  test("a stream that hands payload on early gives the same bytes in the same order", () => {
    fc.assert(
      fc.property(fc.array(packets, { maxLength: 12 }), cutting, (sent, cuts) => {
        let early: number[] = [];
        const stream = createIpStream(({ payload: part }) => early.push(...part));
        const received: IpPacket[] = [];
        for (const packet of cutUp(sent, cuts, stream)) {
          if (packet.kind === "data" || packet.kind === "endData") {
            const whole = Uint8Array.from([...early, ...packet.payload]);
            received.push({ ...packet, payload: whole });
            early = [];
          } else {
            received.push(packet);
          }
        }
        expect(received).toEqual(sent);
      }),
    );
  });

  test("no bytes make the decoder fail with anything but its own errors", () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 64 }), u8, (bytes, type) => {
        const framed = new Uint8Array(8 + bytes.byteLength);
        framed[0] = framed.byteLength;
        framed[4] = type % 17;
        framed.set(bytes, 8);
        try {
          decodeIpPacket(framed);
        } catch (thrown) {
          expect(["ptp.malformed", "ptp.truncated"]).toContain((thrown as { code: string }).code);
        }
      }),
      { numRuns: 1000 },
    );
  });

  test("a data phase carries its payload in pieces of at most the wanted size", () => {
    fc.assert(
      fc.property(payload, fc.integer({ min: 1, max: 50 }), (bytes, pieceBytes) => {
        const [start, ...rest] = [...dataPhasePackets(transactionId(9), bytes, pieceBytes)];
        expect(start).toEqual({
          kind: "startData",
          transactionId: 9,
          totalBytes: BigInt(bytes.byteLength),
        });
        const pieces = rest.map((packet) => ("payload" in packet ? [...packet.payload] : []));
        expect(Math.max(...pieces.map((piece) => piece.length))).toBeLessThanOrEqual(pieceBytes);
        expect(pieces.flat()).toEqual([...bytes]);
        expect(rest.map((packet) => packet.kind).indexOf("endData")).toBe(rest.length - 1);
      }),
    );
  });
});

describe("USB containers", () => {
  const containers = fc.oneof(
    fc
      .constantFrom("command", "response")
      .chain((kind) => parameterPacket(5).map((fields) => ({ kind, ...fields }))),
    parameterPacket(3).map((fields) => ({ kind: "event", ...fields })),
    fc.record({ kind: fc.constant("data"), code: u16, transactionId: transaction, payload }),
  ) as fc.Arbitrary<Container>;

  test("every container comes back", () => {
    fc.assert(
      fc.property(containers, (container) => {
        expect(decodeContainer(encodeContainer(container))).toEqual(container);
      }),
      { numRuns: 300 },
    );
  });

  test("every shortening of a container is refused", () => {
    fc.assert(
      fc.property(containers, fc.nat(), (container, cut) => {
        const bytes = encodeContainer(container);
        expect(() => decodeContainer(bytes.subarray(0, cut % bytes.byteLength))).toThrowError(
          expect.objectContaining({ code: "ptp.truncated" }),
        );
      }),
    );
  });
});

describe("datasets", () => {
  const infos: fc.Arbitrary<DeviceInfo> = fc.record({
    standardVersion: u16,
    vendorExtensionId: u32,
    vendorExtensionVersion: u16,
    vendorExtensionDesc: text,
    functionalMode: u16,
    operationsSupported: codes,
    eventsSupported: codes,
    devicePropertiesSupported: codes,
    captureFormats: codes,
    imageFormats: codes,
    manufacturer: text,
    model: text,
    deviceVersion: text,
    serialNumber: text,
  });
  const objects: fc.Arbitrary<ObjectInfo> = fc.record({
    storageId: u32,
    objectFormat: u16,
    protectionStatus: u16,
    objectCompressedSize: u32,
    thumbFormat: u16,
    thumbCompressedSize: u32,
    thumbPixWidth: u32,
    thumbPixHeight: u32,
    imagePixWidth: u32,
    imagePixHeight: u32,
    imageBitDepth: u32,
    parentObject: u32,
    associationType: u16,
    associationDesc: u32,
    sequenceNumber: u32,
    filename: text,
    captureDate: text,
    modificationDate: text,
    keywords: text,
  });

  test("every DeviceInfo comes back", () => {
    fc.assert(
      fc.property(infos, (info) => {
        expect(deviceInfo.decode(deviceInfo.encode(info))).toEqual(info);
      }),
    );
  });

  test("every ObjectInfo comes back", () => {
    fc.assert(
      fc.property(objects, (info) => {
        expect(objectInfo.decode(objectInfo.encode(info))).toEqual(info);
      }),
    );
  });

  test("every StorageInfo comes back", () => {
    const stores = fc.record({
      storageType: u16,
      filesystemType: u16,
      accessCapability: u16,
      maxCapacityBytes: u64,
      freeSpaceBytes: u64,
      freeSpaceImages: u32,
      storageDescription: text,
      volumeLabel: text,
    });
    fc.assert(
      fc.property(stores, (info) => {
        expect(storageInfo.decode(storageInfo.encode(info))).toEqual(info);
      }),
    );
  });

  test("every list of handles comes back", () => {
    fc.assert(
      fc.property(fc.array(u32), (handles) => {
        expect(decodeHandles(encodeHandles(handles))).toEqual(handles);
      }),
    );
  });

  test("every property description comes back, whatever its form", () => {
    const forms = fc.oneof(
      fc.constant({ kind: "none" }),
      fc.record({ kind: fc.constant("range"), min: u32, max: u32, step: u32 }),
      fc.record({ kind: fc.constant("enumeration"), values: fc.array(u32) }),
    );
    const descs = fc.record({
      kind: fc.constant("described"),
      code: u16,
      dataType: fc.constant(uint32),
      isSettable: fc.boolean(),
      factoryDefault: u32,
      current: u32,
      form: forms,
    }) as unknown as fc.Arbitrary<DevicePropDesc>;
    fc.assert(
      fc.property(descs, (desc) => {
        expect(decodeDevicePropDesc(encodeDevicePropDesc(desc))).toEqual(desc);
      }),
    );
  });
});

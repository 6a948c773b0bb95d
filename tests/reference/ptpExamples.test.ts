// Byte for byte against worked examples. Their layouts come from the Media Transfer Protocol 1.1
// specification of the USB Implementers Forum (which restates ISO 15740) and, for PTP/IP, from
// the registered field layout of CIPA DC-X005 as a network analyser dissects it; the bytes were
// computed from those layouts by hand, apart from this program.
import { describe, expect, test } from "vitest";
import { decodeContainer, encodeContainer, type Container } from "../../core/ptp/container.ts";
import { deviceInfo, type DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import {
  decodeDevicePropDesc,
  encodeDevicePropDesc,
  encodePropertyValue,
  type DevicePropDesc,
} from "../../core/ptp/datasets/devicePropDesc.ts";
import { encodeHandles } from "../../core/ptp/datasets/handles.ts";
import { string, uint32, uint8 } from "../../core/ptp/dataTypes.ts";
import { EVENTS } from "../../core/ptp/events.ts";
import { FORMATS } from "../../core/ptp/formats.ts";
import { transactionId } from "../../core/ptp/ids.ts";
import { decodeIpPacket, encodeIpPacket, type IpPacket } from "../../core/ptp/ipPacket.ts";
import { dataPhasePackets } from "../../core/ptp/ipStream.ts";
import { OPERATIONS } from "../../core/ptp/operations.ts";
import { batteryLevel, exposureTime } from "../../core/ptp/properties.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import { createReader } from "../../core/ptp/reader.ts";
import { createWriter } from "../../core/ptp/writer.ts";
import { fromHex, toHex } from "../support/hex.ts";

const id = transactionId;
const hex = (text: string): string => toHex(fromHex(text));

function request(
  operation: { code: number; dataPhase: string },
  transaction: number,
  ...parameters: number[]
): IpPacket {
  return {
    kind: "operationRequest",
    dataPhaseInfo: operation.dataPhase === "toResponder" ? 2 : 1,
    code: operation.code,
    transactionId: id(transaction),
    parameters,
  };
}

function response(code: number, transaction: number, ...parameters: number[]): IpPacket {
  return { kind: "operationResponse", code, transactionId: id(transaction), parameters };
}

function event(code: number, transaction: number, ...parameters: number[]): IpPacket {
  return { kind: "event", code, transactionId: id(transaction), parameters };
}

const IP_EXAMPLES: readonly [string, IpPacket, string][] = [
  [
    "InitCommandRequest of Host-1",
    {
      kind: "initCommandRequest",
      guid: fromHex("00112233445566778899aabbccddeeff"),
      friendlyName: "Host-1",
      protocolVersion: 0x00010000,
    },
    `2a 00 00 00 01 00 00 00 00 11 22 33 44 55 66 77 88 99 aa bb cc dd ee ff
     48 00 6f 00 73 00 74 00 2d 00 31 00 00 00 00 00 01 00`,
  ],
  [
    "InitCommandAck of VCam",
    {
      kind: "initCommandAck",
      connectionNumber: 1,
      guid: fromHex("ffeeddccbbaa99887766554433221100"),
      friendlyName: "VCam",
      protocolVersion: 0x00010000,
    },
    `2a 00 00 00 02 00 00 00 01 00 00 00 ff ee dd cc bb aa 99 88 77 66 55 44 33 22 11 00
     56 00 43 00 61 00 6d 00 00 00 00 00 01 00`,
  ],
  [
    "InitEventRequest",
    { kind: "initEventRequest", connectionNumber: 1 },
    "0c 00 00 00 03 00 00 00 01 00 00 00",
  ],
  ["InitEventAck", { kind: "initEventAck" }, "08 00 00 00 04 00 00 00"],
  [
    "GetDeviceInfo outside a session",
    request(OPERATIONS.GetDeviceInfo, 0),
    "12 00 00 00 06 00 00 00 01 00 00 00 01 10 00 00 00 00",
  ],
  [
    "OpenSession(1)",
    request(OPERATIONS.OpenSession, 0, 1),
    "16 00 00 00 06 00 00 00 01 00 00 00 02 10 00 00 00 00 01 00 00 00",
  ],
  ["response OK", response(RESPONSES.OK, 0), "0e 00 00 00 07 00 00 00 01 20 00 00 00 00"],
  [
    "response SessionAlreadyOpen",
    response(RESPONSES.SessionAlreadyOpen, 0, 1),
    "12 00 00 00 07 00 00 00 1e 20 00 00 00 00 01 00 00 00",
  ],
  [
    "GetStorageIDs",
    request(OPERATIONS.GetStorageIDs, 1),
    "12 00 00 00 06 00 00 00 01 00 00 00 04 10 01 00 00 00",
  ],
  [
    "SetDevicePropValue(ExposureTime)",
    request(OPERATIONS.SetDevicePropValue, 2, exposureTime.code),
    "16 00 00 00 06 00 00 00 02 00 00 00 16 10 02 00 00 00 0d 50 00 00",
  ],
  [
    "InitiateCapture",
    request(OPERATIONS.InitiateCapture, 3, 0, 0),
    "1a 00 00 00 06 00 00 00 01 00 00 00 0e 10 03 00 00 00 00 00 00 00 00 00 00 00",
  ],
  [
    "ObjectAdded",
    event(EVENTS.ObjectAdded, 3, 0x80000001),
    "12 00 00 00 08 00 00 00 02 40 03 00 00 00 01 00 00 80",
  ],
  [
    "CaptureComplete",
    event(EVENTS.CaptureComplete, 3, 3),
    "12 00 00 00 08 00 00 00 0d 40 03 00 00 00 03 00 00 00",
  ],
  [
    "InitiateOpenCapture",
    request(OPERATIONS.InitiateOpenCapture, 7, 0, 0),
    "1a 00 00 00 06 00 00 00 01 00 00 00 1c 10 07 00 00 00 00 00 00 00 00 00 00 00",
  ],
  [
    "TerminateOpenCapture",
    request(OPERATIONS.TerminateOpenCapture, 8, 7),
    "16 00 00 00 06 00 00 00 01 00 00 00 18 10 08 00 00 00 07 00 00 00",
  ],
];

describe("PTP/IP packets", () => {
  test.each(IP_EXAMPLES)("%s is written as published", (_name, packet, bytes) => {
    expect(toHex(encodeIpPacket(packet))).toBe(hex(bytes));
  });

  test.each(IP_EXAMPLES)("%s is read back whole", (_name, packet, bytes) => {
    expect(decodeIpPacket(fromHex(bytes))).toEqual(packet);
  });

  test("a data phase of 10 bytes splits as 6 and 4", () => {
    const payload = Uint8Array.from({ length: 10 }, (_, index) => index);
    const packets = [...dataPhasePackets(id(5), payload, 6)];
    expect(packets.map((packet) => toHex(encodeIpPacket(packet)))).toEqual([
      hex("14 00 00 00 09 00 00 00 05 00 00 00 0a 00 00 00 00 00 00 00"),
      hex("12 00 00 00 0a 00 00 00 05 00 00 00 00 01 02 03 04 05"),
      hex("10 00 00 00 0c 00 00 00 05 00 00 00 06 07 08 09"),
    ]);
  });

  test("the data of GetStorageIDs with one store", () => {
    const packets = [...dataPhasePackets(id(1), encodeHandles([0x00010001]))];
    expect(packets.map((packet) => toHex(encodeIpPacket(packet)))).toEqual([
      hex("14 00 00 00 09 00 00 00 01 00 00 00 08 00 00 00 00 00 00 00"),
      hex("14 00 00 00 0c 00 00 00 01 00 00 00 01 00 00 00 01 00 01 00"),
    ]);
  });

  test("the data of SetDevicePropValue for an exposure of 30 s", () => {
    const value = encodePropertyValue(uint32, exposureTime.encode(30));
    const packets = [...dataPhasePackets(id(2), value)];
    expect(packets.map((packet) => toHex(encodeIpPacket(packet)))).toEqual([
      hex("14 00 00 00 09 00 00 00 02 00 00 00 04 00 00 00 00 00 00 00"),
      hex("10 00 00 00 0c 00 00 00 02 00 00 00 e0 93 04 00"),
    ]);
  });

  test("an empty data phase is StartData of 0 and an EndData of 12 bytes", () => {
    const packets = [...dataPhasePackets(id(4), new Uint8Array())];
    expect(packets.map((packet) => encodeIpPacket(packet).byteLength)).toEqual([20, 12]);
  });
});

const CONTAINERS: readonly [string, Container, string][] = [
  [
    "OpenSession(1)",
    {
      kind: "command",
      code: OPERATIONS.OpenSession.code,
      transactionId: id(0),
      parameters: [1],
    },
    "10 00 00 00 01 00 02 10 00 00 00 00 01 00 00 00",
  ],
  [
    "response OK",
    { kind: "response", code: RESPONSES.OK, transactionId: id(0), parameters: [] },
    "0c 00 00 00 03 00 01 20 00 00 00 00",
  ],
  [
    "event ObjectAdded",
    { kind: "event", code: EVENTS.ObjectAdded, transactionId: id(3), parameters: [0x80000001] },
    "10 00 00 00 04 00 02 40 03 00 00 00 01 00 00 80",
  ],
];

describe("USB containers", () => {
  test.each(CONTAINERS)("%s is written and read as published", (_name, container, bytes) => {
    expect(toHex(encodeContainer(container))).toBe(hex(bytes));
    expect(decodeContainer(fromHex(bytes))).toEqual(container);
  });
});

const SAMPLE_DEVICE: DeviceInfo = {
  standardVersion: 100,
  vendorExtensionId: 0,
  vendorExtensionVersion: 0,
  vendorExtensionDesc: "",
  functionalMode: 0,
  operationsSupported: [0x1001, 0x1002, 0x1003, 0x100e],
  eventsSupported: [0x4002, 0x400d],
  devicePropertiesSupported: [0x500d],
  captureFormats: [FORMATS.ExifJpeg],
  imageFormats: [FORMATS.ExifJpeg],
  manufacturer: "ACME",
  model: "VCam",
  deviceVersion: "1.0",
  serialNumber: "0001",
};

describe("datasets", () => {
  test("the 91 bytes of a sample DeviceInfo", () => {
    const bytes = `64 00 00 00 00 00 00 00 00 00 00 04 00 00 00 01
      10 02 10 03 10 0e 10 02 00 00 00 02 40 0d 40 01 00 00 00 0d 50 01 00 00 00 01 38 01 00 00 00 01
      38 05 41 00 43 00 4d 00 45 00 00 00 05 56 00 43 00 61 00 6d 00 00 00 04 31 00 2e 00 30 00 00 00
      05 30 00 30 00 30 00 31 00 00 00`;
    expect(toHex(deviceInfo.encode(SAMPLE_DEVICE))).toBe(hex(bytes));
    expect(deviceInfo.decode(fromHex(bytes))).toEqual(SAMPLE_DEVICE);
  });

  test("the smallest DeviceInfo takes 35 bytes", () => {
    const empty: DeviceInfo = {
      ...SAMPLE_DEVICE,
      operationsSupported: [],
      eventsSupported: [],
      devicePropertiesSupported: [],
      captureFormats: [],
      imageFormats: [],
      manufacturer: "",
      model: "",
      deviceVersion: "",
      serialNumber: "",
    };
    expect(deviceInfo.encode(empty).byteLength).toBe(35);
  });

  const PROPERTIES: readonly [string, DevicePropDesc, string][] = [
    [
      "ExposureTime with an enumeration",
      {
        kind: "described",
        code: exposureTime.code,
        dataType: uint32,
        isSettable: true,
        factoryDefault: 80,
        current: 80,
        form: { kind: "enumeration", values: [10, 80, 300_000] },
      },
      "0d 50 06 00 01 50 00 00 00 50 00 00 00 02 03 00 0a 00 00 00 50 00 00 00 e0 93 04 00",
    ],
    [
      "BatteryLevel with a range",
      {
        kind: "described",
        code: batteryLevel.code,
        dataType: uint8,
        isSettable: false,
        factoryDefault: 100,
        current: 87,
        form: { kind: "range", min: 0, max: 100, step: 1 },
      },
      "01 50 02 00 00 64 57 01 00 64 01",
    ],
  ];

  test.each(PROPERTIES)("%s is written and read as published", (_name, desc, bytes) => {
    expect(toHex(encodeDevicePropDesc(desc))).toBe(hex(bytes));
    expect(decodeDevicePropDesc(fromHex(bytes))).toEqual(desc);
  });
});

describe("strings", () => {
  test.each([
    ["", "00"],
    ["A", "02 41 00 00 00"],
  ])("%j is written and read as published", (text, bytes) => {
    const writer = createWriter();
    string.write(writer, text);
    expect(toHex(writer.toBytes())).toBe(hex(bytes));
    expect(string.read(createReader(fromHex(bytes)))).toBe(text);
  });

  test("a date and time of 15 characters takes 33 bytes and says 16", () => {
    const writer = createWriter();
    string.write(writer, "20260102T030405");
    expect(writer.toBytes().byteLength).toBe(33);
    expect(writer.toBytes()[0]).toBe(0x10);
  });
});

describe("exposure time", () => {
  test.each([
    [1, 10_000],
    [30, 300_000],
    [1 / 60, 167],
    [1 / 30, 333],
    [1 / 15, 667],
    [1 / 10_000, 1],
    [1 / 8000, 1],
  ])("%d s is %d units of 0.1 ms", (exposureSeconds, units) => {
    expect(exposureTime.encode(exposureSeconds)).toBe(units);
  });
});

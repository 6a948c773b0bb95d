// Three makers' ways of driving a camera beside the standard, each from memory and not tried on
// hardware. `records`: settings by operation 0x9110, events polled as records of 32-bit words.
// `queue`: standard settings, events polled as pairs, captures by 0x9207 and 0x920c. `blocks`: a
// greeting of three steps, all properties in one block, buttons pressed as properties.
import { ByteSink, ByteSource } from "./bytes.ts";
import { DATATYPE, PROPERTY, RESPONSE } from "./codes.ts";
import type { MadeUpCamera } from "./camera.ts";

const STANDARD = { exposure: 0x500d, iso: 0x500f, fNumber: 0x5007 } as const;

export const MAKERS = {
  none: { codes: STANDARD, isInEighths: false, operations: [] },
  records: {
    codes: { exposure: 0xd102, iso: 0xd103, fNumber: 0xd101 },
    isInEighths: true,
    operations: [0x9110, 0x9114, 0x9115, 0x9116, 0x9125, 0x9126, 0x9128, 0x9129],
  },
  queue: { codes: STANDARD, isInEighths: false, operations: [0x90c7, 0x90c8, 0x9207, 0x920c] },
  blocks: {
    codes: { exposure: 0xd20d, iso: 0xd21e, fNumber: 0x5007 },
    isInEighths: false,
    operations: [0x9201, 0x9202, 0x9205, 0x9207, 0x9209],
  },
} as const;

/** What a maker's operation gives: a response, perhaps data. */
export type Answer = {
  readonly response: number;
  readonly parameters?: readonly number[];
  readonly data?: Buffer;
};

type Call = {
  readonly parameters: readonly number[];
  readonly data: Buffer;
  readonly transaction: number;
};

const OK: Answer = { response: RESPONSE.ok };

export function answerMaker(camera: MadeUpCamera, operation: number, call: Call): Answer {
  switch (camera.traits.maker) {
    case "records":
      return answerRecords(camera, operation, call);
    case "queue":
      return answerQueue(camera, operation, call);
    case "blocks":
      return answerBlocks(camera, operation, call);
    case "none":
      return { response: RESPONSE.operationNotSupported };
  }
}

function answerRecords(camera: MadeUpCamera, operation: number, call: Call): Answer {
  switch (operation) {
    case 0x9114:
    case 0x9115:
      return OK;
    case 0x9110: {
      const source = new ByteSource(call.data);
      const length = source.u32();
      if (length !== call.data.length) return { response: RESPONSE.invalidPropertyFormat };
      const code = source.u32();
      const width = camera.properties.get(code)?.type;
      if (typeof width !== "number") return { response: RESPONSE.propertyNotSupported };
      return { response: camera.write(code, call.data.subarray(8, 8 + width / 8)) };
    }
    case 0x9116:
      return { ...OK, data: recordsOf(camera) };
    case 0x9125:
      return { response: camera.openByMaker(call.transaction) };
    case 0x9128:
      // Half way down only focuses; all the way opens.
      if ((call.parameters[0] ?? 3) < 2) return OK;
      return { response: camera.openByMaker(call.transaction) };
    case 0x9126:
    case 0x9129:
      return { response: camera.closeByMaker() };
    default:
      return { response: RESPONSE.operationNotSupported };
  }
}

/** Records: length, type, words; an empty one at the end. */
function recordsOf(camera: MadeUpCamera): Buffer {
  const sink = new ByteSink();
  for (const code of camera.takeChanged()) {
    const property = camera.properties.get(code);
    if (typeof property?.current !== "bigint") continue;
    sink.u32(16).u32(0xc189).u32(code).u32(Number(property.current));
    if (property.form !== "enumeration") continue;
    sink
      .u32(20 + 4 * property.values.length)
      .u32(0xc18a)
      .u32(code)
      .u32(3);
    sink.u32(property.values.length);
    for (const value of property.values) sink.u32(Number(value));
  }
  for (const object of camera.takeFresh()) {
    const name = Buffer.from(object.name.slice(0, 15).padEnd(16, "\0"), "latin1");
    sink.u32(64).u32(0xc181).u32(object.handle).u32(object.storage).u16(object.format).u16(0);
    sink.u32(0).u32(0).u32(object.bytes.length).u32(object.parent).u32(0).raw(name).u32(0);
  }
  return sink.u32(8).u32(0).bytes();
}

function answerQueue(camera: MadeUpCamera, operation: number, call: Call): Answer {
  switch (operation) {
    case 0x90c8:
      return { response: camera.isBusy ? RESPONSE.deviceBusy : RESPONSE.ok };
    case 0x90c7: {
      const fresh = camera.takeFresh();
      const sink = new ByteSink().u16(fresh.length);
      for (const object of fresh) sink.u16(0x4002).u32(object.handle);
      return { ...OK, data: sink.bytes() };
    }
    case 0x9207:
      return camera.properties.isAtBulb
        ? { response: camera.openByMaker(call.transaction) }
        : { response: camera.captureTimed(call.transaction) };
    case 0x920c:
      return { response: camera.closeByMaker() };
    default:
      return { response: RESPONSE.operationNotSupported };
  }
}

const BUTTON = { half: 0xd2c1, full: 0xd2c2, down: 2, up: 1 } as const;

function answerBlocks(camera: MadeUpCamera, operation: number, call: Call): Answer {
  switch (operation) {
    case 0x9201:
      return { ...OK, data: Buffer.alloc(8) };
    case 0x9202: {
      const codes = [...camera.properties.codes, BUTTON.half, BUTTON.full];
      return { ...OK, data: new ByteSink().u16(200).array(16, codes).array(16, []).bytes() };
    }
    case 0x9209:
      return { ...OK, data: blockOf(camera) };
    case 0x9205:
      return { response: camera.write(call.parameters[0] ?? 0, call.data) };
    case 0x9207:
      return { response: press(camera, call) };
    default:
      return { response: RESPONSE.operationNotSupported };
  }
}

function press(camera: MadeUpCamera, call: Call): number {
  if (call.data.length !== 2) return RESPONSE.invalidPropertyFormat;
  if (call.parameters[0] === BUTTON.half) return RESPONSE.ok;
  if (call.parameters[0] !== BUTTON.full) return RESPONSE.propertyNotSupported;
  if (new ByteSource(call.data).u16() === BUTTON.up) return camera.closeByMaker();
  return camera.properties.isAtBulb
    ? camera.openByMaker(call.transaction)
    : camera.captureTimed(call.transaction);
}

/** Every property in one block, each as a description with one byte more: whether it is enabled. */
function blockOf(camera: MadeUpCamera): Buffer {
  const sink = new ByteSink().u64(BigInt(camera.properties.codes.length));
  for (const code of camera.properties.codes) {
    const property = camera.properties.get(code)!;
    if (property.code === PROPERTY.dateTime || property.type === "text") {
      sink.u16(code).u16(DATATYPE.text).u8(0).u8(0).text("").text("").u8(0);
      continue;
    }
    const value = camera.properties.value(property);
    sink
      .u16(code)
      .u16(DATATYPE[property.type])
      .u8(property.isWritable ? 1 : 0);
    sink
      .u8(property.isWritable ? 1 : 2)
      .raw(value)
      .raw(value);
    if (property.form === "none") {
      sink.u8(0);
      continue;
    }
    sink.u8(property.form === "range" ? 1 : 2);
    if (property.form === "enumeration") sink.u16(property.values.length);
    for (const entry of property.values) sink.uint(property.type, entry);
  }
  return sink.bytes();
}

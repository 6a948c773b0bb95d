import {
  STANDARD_CONTROLS,
  type CameraControls,
} from "../../controller/cameras/standardControls.ts";
import { createTransport } from "../../controller/cameras/createTransport.ts";
import { startOrigin } from "../../controller/timing/clock.ts";
import type { FromShutter } from "../../controller/shutter/shutterMessages.ts";
import { plainTimerWait } from "./plainTimerWait.ts";
import { ShutterFlag } from "../../controller/shutter/shutterFlag.ts";
import { TimingLoop } from "../../controller/shutter/timingLoop.ts";
import type { CameraEvent } from "../../controller/cameras/camera.ts";
import type { CameraProfiles } from "../../core/profiles/resolve.ts";
import { deviceInfo, type DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import { encodeHandles } from "../../core/ptp/datasets/handles.ts";
import { objectInfo, type ObjectInfo } from "../../core/ptp/datasets/objectInfo.ts";
import { FORMATS } from "../../core/ptp/formats.ts";
import { OPERATIONS } from "../../core/ptp/operations.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import { utcMs } from "../../core/units.ts";
import { keepDiary, type CameraDiary } from "./cameraDiary.ts";
import { FakeIpCamera } from "./fakeIpCamera.ts";
import type { PeerRequest } from "./fakePeer.ts";

/** What a scripted camera answers to one operation; null: nothing at all. */
export type Reply = {
  readonly code: number;
  readonly data?: Uint8Array;
  readonly parameters?: readonly number[];
} | null;

export type CardObject = { readonly info: Partial<ObjectInfo>; readonly bytes: Uint8Array };

/** A camera of a few lines whose every answer a test can replace. */
export type ScriptedCamera = {
  readonly peer: FakeIpCamera;
  /** Codes of the operations it was asked for, in order. */
  readonly asked: number[];
  readonly requests: PeerRequest[];
  readonly card: Map<number, CardObject>;
  /** Answers an operation in place of the camera's own answer; undefined: the camera's own. */
  override: (request: PeerRequest) => Reply | undefined;
  /** Called right after an operation was answered. */
  afterwards: (request: PeerRequest) => void;
};

const SUPPORTED = Object.values(OPERATIONS).map(({ code }) => code);

const EMPTY_INFO: ObjectInfo = {
  storageId: 0x00010001,
  objectFormat: FORMATS.ExifJpeg,
  protectionStatus: 0,
  objectCompressedSize: 0,
  thumbFormat: 0,
  thumbCompressedSize: 0,
  thumbPixWidth: 0,
  thumbPixHeight: 0,
  imagePixWidth: 0,
  imagePixHeight: 0,
  imageBitDepth: 0,
  parentObject: 0,
  associationType: 0,
  associationDesc: 0,
  sequenceNumber: 0,
  filename: "A.JPG",
  captureDate: "20270324T180000",
  modificationDate: "",
  keywords: "",
};

/** A few bytes that begin and end as a JPEG does. */
export function smallJpeg(bytes = 64): Uint8Array {
  const jpeg = new Uint8Array(bytes);
  jpeg.set([0xff, 0xd8], 0);
  jpeg.set([0xff, 0xd9], bytes - 2);
  return jpeg;
}

export type ScriptedLoop = {
  readonly camera: ScriptedCamera;
  readonly loop: TimingLoop;
  readonly flag: ShutterFlag;
  readonly diary: CameraDiary;
  readonly messages: FromShutter[];
  /** Ends the loop; resolves when it has ended. */
  stop(): Promise<void>;
};

/** A timing loop in this thread, joined to a scripted camera; the night runs in real time. */
export async function startScriptedLoop(
  controls: Partial<CameraControls> = {},
  profiles?: CameraProfiles,
): Promise<ScriptedLoop> {
  const camera = createScriptedCamera();
  const port = await camera.peer.listen();
  void serve(camera);
  const flag = new ShutterFlag(ShutterFlag.createBuffer());
  const messages: FromShutter[] = [];
  let hear: (event: CameraEvent) => void = () => undefined;
  const diary = keepDiary((listener) => (hear = listener));
  const loop = new TimingLoop({
    cameraId: "camera-1",
    origin: startOrigin({ rate: 1, startUtcMs: utcMs(Date.UTC(2027, 2, 24, 18)) }),
    controls: { ...STANDARD_CONTROLS, fileGraceMs: 0, ...controls },
    profiles,
    flag,
    wait: plainTimerWait(),
    createTransport: () => createTransport({ kind: "ip", host: "127.0.0.1", port }),
    tell: (message) => {
      messages.push(message);
      if (message.kind === "event") hear(message.event);
    },
  });
  const ended = loop.run();
  return {
    ...{ camera, loop, flag, diary, messages },
    stop: async () => {
      loop.take({ kind: "close" });
      await ended;
      await camera.peer.stop();
    },
  };
}

function createScriptedCamera(): ScriptedCamera {
  return {
    peer: new FakeIpCamera(),
    asked: [],
    requests: [],
    card: new Map(),
    override: () => undefined,
    afterwards: () => undefined,
  };
}

async function serve(camera: ScriptedCamera): Promise<void> {
  for (;;) {
    const request = await camera.peer.nextRequest();
    camera.asked.push(request.operationCode);
    camera.requests.push(request);
    const overridden = camera.override(request);
    const reply = overridden === undefined ? ownReply(camera, request) : overridden;
    if (reply) {
      const { transactionId } = request;
      if (reply.data) {
        camera.peer.startData(transactionId, reply.data.length);
        camera.peer.endData(transactionId, reply.data);
      }
      camera.peer.respond(transactionId, reply.code, reply.parameters);
    }
    camera.afterwards(request);
  }
}

/** What a camera of a few lines answers by itself. */
export function ownReply(
  camera: Pick<ScriptedCamera, "card">,
  request: Pick<PeerRequest, "operationCode" | "parameters">,
): Reply {
  const [handle = 0, offset = 0, bytesMax = 0] = request.parameters;
  const object = camera.card.get(handle);
  switch (request.operationCode) {
    case OPERATIONS.GetDeviceInfo.code:
      return { code: RESPONSES.OK, data: encodedDeviceInfo() };
    case OPERATIONS.GetObjectHandles.code:
      return { code: RESPONSES.OK, data: encodeHandles([...camera.card.keys()]) };
    case OPERATIONS.GetObjectInfo.code: {
      if (!object) return { code: RESPONSES.InvalidObjectHandle };
      const info = { ...EMPTY_INFO, objectCompressedSize: object.bytes.length, ...object.info };
      return { code: RESPONSES.OK, data: objectInfo.encode(info) };
    }
    case OPERATIONS.GetPartialObject.code: {
      if (!object) return { code: RESPONSES.InvalidObjectHandle };
      const data = object.bytes.subarray(offset, offset + bytesMax);
      return { code: RESPONSES.OK, data, parameters: [data.length] };
    }
    case OPERATIONS.GetThumb.code:
      return { code: RESPONSES.NoThumbnailPresent };
    default:
      return { code: RESPONSES.OK };
  }
}

/** What a scripted camera says that it is; a test changes what matters to it. */
export function encodedDeviceInfo(over: Partial<DeviceInfo> = {}): Uint8Array {
  return deviceInfo.encode({
    standardVersion: 100,
    vendorExtensionId: 0,
    vendorExtensionVersion: 0,
    vendorExtensionDesc: "",
    functionalMode: 0,
    operationsSupported: SUPPORTED,
    eventsSupported: [],
    devicePropertiesSupported: [],
    captureFormats: [FORMATS.ExifJpeg],
    imageFormats: [FORMATS.ExifJpeg],
    manufacturer: "",
    model: "",
    deviceVersion: "",
    serialNumber: "0001",
    ...over,
  });
}

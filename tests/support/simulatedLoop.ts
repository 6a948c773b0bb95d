import {
  STANDARD_CONTROLS,
  type CameraControls,
} from "../../controller/cameras/standardControls.ts";
import type { CameraEvent } from "../../controller/cameras/camera.ts";
import type {
  OperationAnswer,
  Transport,
  TransportEvent,
} from "../../controller/cameras/transport.ts";
import { ShutterFlag } from "../../controller/shutter/shutterFlag.ts";
import { TimingLoop } from "../../controller/shutter/timingLoop.ts";
import { pauseFor } from "../../controller/timing/clock.ts";
import { plainTimerWait } from "./plainTimerWait.ts";
import { EVENTS } from "../../core/ptp/events.ts";
import { OPERATIONS } from "../../core/ptp/operations.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import { utcMs } from "../../core/units.ts";
import { keepDiary, type CameraDiary } from "./cameraDiary.ts";
import { ownReply, smallJpeg, type CardObject } from "./scriptedCamera.ts";
import { SimulatedTime } from "./simulatedTime.ts";

/** What an answer of the simulated camera takes, and how long it reads a frame out. */
const ANSWER_MS = 4;
const READ_OUT_MS = 900;

/** A timing loop and a camera in this thread, by one clock that passes as soon as both wait. */
export type SimulatedLoop = {
  readonly time: SimulatedTime;
  readonly loop: TimingLoop;
  readonly diary: CameraDiary;
  readonly ended: Promise<void>;
};

export function startSimulatedLoop(
  controls: Partial<CameraControls> = {},
  { lateMs = 0 } = {},
): SimulatedLoop {
  const time = new SimulatedTime({ lateMs });
  let hear: (event: CameraEvent) => void = () => undefined;
  const diary = keepDiary((listener) => (hear = listener));
  const loop = new TimingLoop({
    cameraId: "camera-1",
    origin: {
      rate: 1,
      realOriginMs: time.nowMs(),
      startUtcMs: utcMs(Date.UTC(2027, 2, 24, 18)),
    },
    controls: { ...STANDARD_CONTROLS, ...controls },
    flag: new ShutterFlag(ShutterFlag.createBuffer()),
    wait: plainTimerWait(),
    scheduling: "realTime",
    time,
    createTransport: () => simulatedCamera(time),
    tell: (message) => {
      if (message.kind === "event") hear(message.event);
    },
  });
  return { time, loop, diary, ended: loop.run() };
}

/** A camera that opens, closes, is busy while it reads out, and then names its file. */
function simulatedCamera(time: SimulatedTime): Transport {
  const card = new Map<number, CardObject>();
  let onEvent: (event: TransportEvent) => void = () => undefined;
  let busyUntilMs = -Infinity;
  const nameFile = (transactionId: number): void => {
    const handle = card.size + 1;
    card.set(handle, { info: { filename: `A${handle}.JPG` }, bytes: smallJpeg() });
    onEvent({
      eventCode: EVENTS.ObjectAdded,
      transactionId,
      parameters: [handle],
      atMs: time.nowMs(),
    });
  };
  const codeOf = (operationCode: number, opening: number): number => {
    const isOpening = operationCode === OPERATIONS.InitiateOpenCapture.code;
    if (isOpening && time.nowMs() < busyUntilMs) return RESPONSES.DeviceBusy;
    if (operationCode === OPERATIONS.TerminateOpenCapture.code) {
      busyUntilMs = time.nowMs() + READ_OUT_MS;
      time.after(READ_OUT_MS, () => nameFile(opening));
    }
    return RESPONSES.OK;
  };
  return {
    place: "a simulated camera",
    open: async () => undefined,
    close: async () => undefined,
    onLost: () => undefined,
    onEvent: (listener) => (onEvent = listener),
    transact: async (request, { data }): Promise<OperationAnswer> => {
      const sentMs = time.nowMs();
      await pauseFor(time, ANSWER_MS);
      const reply = ownReply({ card }, request);
      if (reply?.data) data?.take(reply.data);
      const own = codeOf(request.operationCode, request.parameters[0] ?? 0);
      return {
        responseCode: own === RESPONSES.OK ? (reply?.code ?? RESPONSES.OK) : own,
        parameters: reply?.parameters ?? [],
        dataBytes: reply?.data?.length ?? 0,
        isDataComplete: true,
        sentMs,
        answeredMs: time.nowMs(),
      };
    },
  };
}

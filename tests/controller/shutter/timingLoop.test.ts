import { afterEach, describe, expect, it } from "vitest";
import type { CameraControls } from "../../../controller/cameras/standardControls.ts";
import { EVENTS } from "../../../core/ptp/events.ts";
import {
  encodeDevicePropDesc,
  encodePropertyValue,
} from "../../../core/ptp/datasets/devicePropDesc.ts";
import { uint16 } from "../../../core/ptp/dataTypes.ts";
import { exposureIndex } from "../../../core/ptp/properties.ts";
import { FORMATS } from "../../../core/ptp/formats.ts";
import { OPERATIONS } from "../../../core/ptp/operations.ts";
import { RESPONSES } from "../../../core/ptp/responses.ts";
import { monotonicMs } from "../../../core/units.ts";
import type { PeerRequest } from "../../support/fakePeer.ts";
import {
  encodedDeviceInfo,
  smallJpeg,
  startScriptedLoop,
  type ScriptedCamera,
  type ScriptedLoop,
} from "../../support/scriptedCamera.ts";

const OPEN = OPERATIONS.InitiateOpenCapture.code;
const CLOSE = OPERATIONS.TerminateOpenCapture.code;
const UNRELATED = 0xffffffff;
const ISO_800 = {
  kind: "described" as const,
  ...{ code: exposureIndex.code, dataType: uint16, isSettable: true },
  ...{ factoryDefault: 800, current: 800 },
  form: { kind: "enumeration", values: [800, 1600] },
} as const;

describe("the timing loop", () => {
  let rig: ScriptedLoop;
  let camera: ScriptedCamera;
  afterEach(async () => await rig.stop());

  const connected = async (controls: Partial<CameraControls> = {}): Promise<void> => {
    rig = await startScriptedLoop(controls);
    camera = rig.camera;
    rig.loop.take({ kind: "connect" });
    await rig.diary.next("connected");
  };
  /** Orders a bulb frame of a few hundredths of a second: this camera has no ladder. */
  const order = (frameIndex: number, exposureSeconds = 0.03): void =>
    rig.loop.take({
      kind: "expose",
      order: {
        frameIndex,
        exposure: { exposureSeconds, iso: 800, fNumber: 2.8 },
        openAtMs: monotonicMs(0),
      },
    });
  const is = (operation: { code: number }) => (request: PeerRequest) =>
    request.operationCode === operation.code;
  /** Puts a file on the card when the shutter closes and names it as the test says. */
  const nameAtClose = (name: (openingId: number) => void): void => {
    camera.afterwards = (request) => {
      if (request.operationCode === CLOSE) name(request.parameters[0] ?? 0);
    };
  };

  it("names the transaction that opened when it closes, and has the flag set in between", async () => {
    await connected();
    const wasSet: boolean[] = [];
    camera.afterwards = ({ operationCode }) => {
      if (operationCode === OPEN) wasSet.push(rig.flag.isSet);
    };
    order(0);
    await rig.diary.next("shutterClosed");
    wasSet.push(rig.flag.isSet);
    const opening = camera.requests.find(is(OPERATIONS.InitiateOpenCapture));
    const closing = camera.requests.find(is(OPERATIONS.TerminateOpenCapture));
    expect(closing?.parameters).toEqual([opening?.transactionId]);
    expect(wasSet).toEqual([true, false]);
  });

  it("sends nothing else between opening and closing when a fetch cannot be over in time", async () => {
    await connected();
    camera.card.set(9, { info: {}, bytes: smallJpeg() });
    // The loop has learnt that an answer takes 60 ms, which is more than the exposure lasts.
    const slow = camera.override;
    camera.override = (request) => {
      if (request.operationCode !== OPERATIONS.GetObjectInfo.code) return slow(request);
      setTimeout(
        () => camera.peer.respond(request.transactionId, RESPONSES.InvalidObjectHandle),
        60,
      );
      return null;
    };
    const listed = async (): Promise<void> => {
      const before = rig.messages.length;
      rig.loop.take({ kind: "listCard", requestId: 1 });
      while (!rig.messages.slice(before).some(({ kind }) => kind === "card")) await pause(5);
    };
    await listed();
    order(0, 0.05);
    rig.loop.take({ kind: "listCard", requestId: 2 });
    await rig.diary.next("shutterClosed");
    const between = camera.asked.slice(camera.asked.indexOf(OPEN), camera.asked.indexOf(CLOSE) + 1);
    expect(between).toEqual([OPEN, CLOSE]);
  });

  it("closes again when the camera was busy and when it answered with an error", async () => {
    await connected();
    const answers = [RESPONSES.DeviceBusy, RESPONSES.GeneralError, RESPONSES.OK];
    camera.override = (request) =>
      request.operationCode === CLOSE ? { code: answers.shift() ?? RESPONSES.OK } : undefined;
    order(0);
    await rig.diary.next("shutterClosed");
    expect(camera.asked.filter((code) => code === CLOSE)).toHaveLength(3);
    expect(rig.flag.isSet).toBe(false);
  });

  it("takes a shutter that the camera has closed by itself as closed, and says so once", async () => {
    await connected();
    camera.override = (request) =>
      request.operationCode === CLOSE ? { code: RESPONSES.CaptureAlreadyTerminated } : undefined;
    for (const frameIndex of [0, 1]) {
      order(frameIndex);
      await rig.diary.next("shutterClosed");
    }
    expect(rig.flag.isSet).toBe(false);
    const remarks = rig.diary.events.flatMap((event) =>
      event.kind === "remarked" ? event.sentence : [],
    );
    expect(remarks).toEqual([expect.stringContaining("ends its bulb exposures by itself")]);
  });

  it("gives a frame the file that was named before the camera's own end of it was known", async () => {
    await connected();
    camera.override = (request) =>
      request.operationCode === CLOSE ? { code: RESPONSES.CaptureAlreadyTerminated } : undefined;
    camera.afterwards = (request) => {
      if (request.operationCode !== OPEN) return;
      camera.card.set(7, { info: {}, bytes: smallJpeg() });
      camera.peer.event(EVENTS.ObjectAdded, UNRELATED, [7]);
    };
    order(0, 0.2);
    expect(await rig.diary.next("frameArrived")).toMatchObject({ frameIndex: 0, cameraHandle: 7 });
  });

  it.each([
    { by: "name", nameOf: (frame: number, ending: string) => `PICT${frame}.${ending}` },
    { by: "moment where they have no names", nameOf: () => "" },
  ])("pairs raw and JPEG by $by, although their descriptions come late", async ({ nameOf }) => {
    await connected();
    let isBusy = true;
    camera.override = (request) =>
      isBusy && request.operationCode === OPERATIONS.GetObjectInfo.code
        ? { code: RESPONSES.DeviceBusy }
        : undefined;
    let frames = 0;
    nameAtClose(() => {
      frames += 1;
      const captureDate = `20270324T18000${frames}`;
      for (const [at, ending] of ["JPG", "RAW"].entries()) {
        const handle = frames * 10 + at;
        const objectFormat = at === 0 ? FORMATS.ExifJpeg : FORMATS.TiffEp;
        const info = { filename: nameOf(frames, ending), captureDate, objectFormat };
        camera.card.set(handle, { info, bytes: smallJpeg() });
        camera.peer.event(EVENTS.ObjectAdded, UNRELATED, [handle]);
      }
    });
    for (const frameIndex of [0, 1, 2]) {
      order(frameIndex);
      await rig.diary.next("ready");
    }
    isBusy = false;
    const arrived = [];
    while (arrived.length < 3) arrived.push(await rig.diary.next("frameArrived"));
    const owners = arrived.map(({ frameIndex, cameraHandle }) => [frameIndex, cameraHandle]);
    expect(owners.sort()).toEqual([
      [0, 10],
      [1, 20],
      [2, 30],
    ]);
  });

  it("closes at once what opened while the frame was already called off", async () => {
    await connected();
    camera.override = (request) => {
      if (request.operationCode !== OPEN) return undefined;
      rig.loop.take({ kind: "closeShutter", frameIndex: 0 });
      setTimeout(() => camera.peer.respond(request.transactionId, RESPONSES.OK), 5);
      return null;
    };
    order(0, 3600);
    const { happened } = await rig.diary.next("shutterClosed");
    expect(happened.exposureSeconds).toBeLessThan(60);
  });

  it("asks a busy camera again until it opens", async () => {
    await connected();
    const answers = [RESPONSES.DeviceBusy, RESPONSES.DeviceBusy];
    camera.override = (request) => {
      const code = request.operationCode === OPEN ? answers.shift() : undefined;
      return code === undefined ? undefined : { code };
    };
    order(0);
    await rig.diary.next("shutterClosed");
    expect(camera.asked.filter((code) => code === OPEN)).toHaveLength(3);
  });

  it("fails the frame, not the night, on a camera that is busy for 50 ms when that is the bound", async () => {
    await connected({ busyMsMax: 50 });
    camera.override = (request) =>
      request.operationCode === OPEN ? { code: RESPONSES.DeviceBusy } : undefined;
    order(4);
    expect(await rig.diary.next("failed")).toMatchObject({
      code: "camera.busy",
      frameIndex: 4,
      gone: false,
    });
    expect(rig.flag.isSet).toBe(false);
    camera.override = () => undefined;
    order(5);
    expect((await rig.diary.next("shutterClosed")).frameIndex).toBe(5);
  });

  it("bears a camera that is busy for as long again as the exposure, beyond the bound of 20 ms", async () => {
    await connected({ busyMsMax: 20 });
    order(0, 0.4);
    const { atMs } = await rig.diary.next("shutterClosed");
    // A dark frame as long as the exposure follows each.
    const isDark = (): boolean => performance.now() < darkUntilMs;
    const darkUntilMs = performance.now() + 300;
    camera.override = (request) =>
      request.operationCode === OPEN && isDark() ? { code: RESPONSES.DeviceBusy } : undefined;
    order(1);
    expect((await rig.diary.next("shutterOpened")).frameIndex).toBe(0);
    expect((await rig.diary.next("shutterOpened")).atMs).toBeGreaterThan(atMs);
    expect(rig.diary.kinds()).not.toContain("failed");
  });

  it("gives up an order that it keeps repeating when the night connects again", async () => {
    await connected();
    camera.override = (request) =>
      request.operationCode === OPEN ? { code: RESPONSES.DeviceBusy } : undefined;
    order(0);
    while (!camera.asked.includes(OPEN)) await pause(5);
    rig.loop.take({ kind: "connect" });
    expect(await rig.diary.next("failed")).toMatchObject({ code: "camera.busy", frameIndex: 0 });
    await rig.diary.next("connected");
  });

  it("fails the frame with the camera's own answer when it refuses to open", async () => {
    await connected();
    camera.override = (request) =>
      request.operationCode === OPEN ? { code: RESPONSES.AccessDenied } : undefined;
    order(0);
    const failed = await rig.diary.next("failed");
    expect(failed).toMatchObject({ code: "ptp.response", frameIndex: 0, gone: false });
    expect(failed.sentence).toMatch(/InitiateOpenCapture with AccessDenied/);
  });

  it("reconnects at once by itself for a shutter that the lost link left open, and sends its number into no new session", async () => {
    await connected();
    order(3, 3600);
    await rig.diary.next("shutterOpened");
    camera.peer.vanish();
    expect(await rig.diary.next("failed")).toMatchObject({
      code: "camera.gone",
      frameIndex: 3,
      gone: true,
    });
    while (rig.flag.isSet) await pause(5);
    expect(camera.asked).not.toContain(CLOSE);
    // The night's own connect finds the link there. Nothing says whether the shutter is closed.
    const looseSinceMs = async (): Promise<number | undefined> => {
      rig.loop.take({ kind: "connect" });
      return (await rig.diary.next("connected")).description.looseSinceMs;
    };
    expect(await looseSinceMs()).toEqual(expect.any(Number));
    order(4);
    await rig.diary.next("shutterClosed");
    expect(await looseSinceMs()).toBeUndefined();
  });

  it("ends a capture in the session that survived before it opens its own", async () => {
    await connected();
    order(0, 3600);
    await rig.diary.next("shutterOpened");
    let isOpen = true;
    camera.override = (request) => {
      if (request.operationCode === OPERATIONS.CloseSession.code) isOpen = false;
      if (request.operationCode === OPERATIONS.OpenSession.code && isOpen) {
        return { code: RESPONSES.SessionAlreadyOpen, parameters: [1] };
      }
      return undefined;
    };
    const before = camera.asked.length;
    camera.peer.vanish();
    await rig.diary.next("failed");
    while (rig.flag.isSet) await pause(5);
    const { OpenSession, CloseSession } = OPERATIONS;
    const { GetDeviceInfo } = OPERATIONS;
    expect(camera.asked.slice(before, before + 5)).toEqual([
      ...[OpenSession.code, GetDeviceInfo.code, CLOSE],
      ...[CloseSession.code, OpenSession.code],
    ]);
    // The numbers of that session go on where it was left.
    const [, info, close] = camera.requests.slice(before);
    const opening = camera.requests.find(is(OPERATIONS.InitiateOpenCapture))!;
    expect(close!.parameters).toEqual([opening.transactionId]);
    expect(info!.transactionId).toBeGreaterThan(opening.transactionId);
  });

  it.each([
    ["again while the camera takes no setting", RESPONSES.DeviceBusy, 3],
    ["no more once the camera takes a setting", RESPONSES.OK, 1],
  ])(
    "closes %s when the camera answers that it knows no such transaction",
    async (_, atSetting, asks) => {
      rig = await startScriptedLoop();
      camera = rig.camera;
      const answers = [RESPONSES.InvalidTransactionID, RESPONSES.InvalidTransactionID];
      camera.override = ({ operationCode }) => {
        const { OK } = RESPONSES;
        switch (operationCode) {
          case OPERATIONS.GetDeviceInfo.code:
            return {
              code: OK,
              data: encodedDeviceInfo({ devicePropertiesSupported: [exposureIndex.code] }),
            };
          case OPERATIONS.GetDevicePropDesc.code:
            return { code: OK, data: encodeDevicePropDesc(ISO_800) };
          case OPERATIONS.GetDevicePropValue.code:
            return { code: OK, data: encodePropertyValue(uint16, 800) };
          case OPERATIONS.SetDevicePropValue.code:
            return { code: atSetting };
          case CLOSE:
            return { code: answers.shift() ?? OK };
          default:
            return undefined;
        }
      };
      rig.loop.take({ kind: "connect" });
      await rig.diary.next("connected");
      order(0);
      await rig.diary.next("shutterClosed");
      expect(camera.asked.filter((code) => code === CLOSE)).toHaveLength(asks);
      expect(rig.flag.isSet).toBe(false);
    },
  );

  it("reports the link as gone when the camera says that no session is open", async () => {
    await connected();
    camera.override = (request) =>
      request.operationCode === OPEN ? { code: RESPONSES.SessionNotOpen } : undefined;
    order(2);
    expect(await rig.diary.next("failed")).toMatchObject({
      code: "camera.gone",
      frameIndex: 2,
      gone: true,
    });
  });

  it("brings the file that an event names, whatever transaction the event carries", async () => {
    await connected();
    for (const [frameIndex, transaction] of [0, UNRELATED, 12345].entries()) {
      const handle = 100 + frameIndex;
      const filename = `F${frameIndex}.JPG`;
      camera.card.set(handle, { info: { filename }, bytes: smallJpeg() });
      nameAtClose(() => camera.peer.event(EVENTS.ObjectAdded, transaction, [handle]));
      order(frameIndex);
      expect(await rig.diary.next("frameArrived")).toMatchObject({
        frameIndex,
        cameraHandle: handle,
        cameraName: filename,
        isOriginal: true,
      });
    }
  });

  it("finds a file that no event named, and is ready all the same", async () => {
    await connected();
    nameAtClose(() => camera.card.set(7, { info: {}, bytes: smallJpeg() }));
    order(0);
    await rig.diary.next("ready");
    expect(await rig.diary.next("frameArrived")).toMatchObject({ frameIndex: 0, cameraHandle: 7 });
  });

  it("takes the second of two files with one name for the same frame's", async () => {
    await connected();
    const raw = { objectFormat: FORMATS.TiffEp };
    camera.card.set(1, { info: { filename: "A1.JPG" }, bytes: smallJpeg() });
    camera.card.set(2, { info: { filename: "A1.TIF", ...raw }, bytes: smallJpeg() });
    camera.card.set(3, { info: { filename: "A2.JPG" }, bytes: smallJpeg() });
    nameAtClose(() => camera.peer.event(EVENTS.ObjectAdded, 0, [1]));
    order(0);
    await rig.diary.next("frameArrived");
    await rig.diary.next("ready");
    nameAtClose(() => {
      camera.peer.event(EVENTS.ObjectAdded, 0, [2]);
      camera.peer.event(EVENTS.ObjectAdded, 0, [3]);
    });
    order(1);
    expect(await rig.diary.next("frameArrived")).toMatchObject({ frameIndex: 1, cameraHandle: 3 });
  });

  it("waits on when the camera names a new folder", async () => {
    await connected();
    camera.card.set(1, { info: { objectFormat: FORMATS.Association }, bytes: new Uint8Array(0) });
    camera.card.set(2, { info: {}, bytes: smallJpeg() });
    nameAtClose((id) => {
      camera.peer.event(EVENTS.ObjectAdded, id, [1]);
      setTimeout(() => camera.peer.event(EVENTS.ObjectAdded, id, [2]), 30);
    });
    order(0);
    expect(await rig.diary.next("frameArrived")).toMatchObject({ frameIndex: 0, cameraHandle: 2 });
  });

  it("asks again for a file that is not closed yet", async () => {
    await connected();
    camera.card.set(2, { info: {}, bytes: smallJpeg() });
    const answers = [RESPONSES.InvalidObjectHandle, RESPONSES.DeviceBusy];
    camera.override = (request) => {
      const isInfo = request.operationCode === OPERATIONS.GetObjectInfo.code;
      const code = isInfo ? answers.shift() : undefined;
      return code === undefined ? undefined : { code };
    };
    nameAtClose((id) => camera.peer.event(EVENTS.ObjectAdded, id, [2]));
    order(0);
    expect((await rig.diary.next("frameArrived")).frameIndex).toBe(0);
  });

  it("says why a frame has no picture", async () => {
    await connected();
    const info = { objectFormat: FORMATS.TiffEp, filename: "R.TIF" };
    camera.card.set(2, { info, bytes: new Uint8Array(100) });
    nameAtClose((id) => camera.peer.event(EVENTS.ObjectAdded, id, [2]));
    order(0);
    const missing = await rig.diary.next("frameMissing");
    expect(missing.why).toMatch(/no preview of R\.TIF/);
  });

  it("fetches a file whose size the camera does not know", async () => {
    await connected();
    const bytes = smallJpeg(40_000);
    camera.card.set(2, { info: { objectCompressedSize: 0 }, bytes });
    nameAtClose((id) => camera.peer.event(EVENTS.ObjectAdded, id, [2]));
    order(0);
    const { jpeg } = await rig.diary.next("frameArrived");
    expect(Buffer.compare(jpeg, bytes)).toBe(0);
  });

  it("tells a full card with the frame that found it full", async () => {
    await connected();
    nameAtClose((id) => camera.peer.event(EVENTS.StoreFull, id, [0x00010001]));
    order(0);
    expect(await rig.diary.next("failed")).toMatchObject({
      code: "camera.card_full",
      frameIndex: 0,
      gone: false,
    });
  });

  it("survives 5,000 property events and 2,000 unknown ones during an exposure", async () => {
    await connected();
    order(0, 0.2);
    await rig.diary.next("shutterOpened");
    for (let count = 0; count < 5_000; count += 1) {
      camera.peer.event(EVENTS.DevicePropChanged, UNRELATED, [0x5001 + (count % 32)]);
    }
    for (let count = 0; count < 2_000; count += 1) camera.peer.event(0xc123, count, []);
    expect((await rig.diary.next("shutterClosed")).frameIndex).toBe(0);
  });

  it("finishes the exposure and ends when nobody listens any more, and begins no other", async () => {
    await connected();
    order(0, 0.05);
    order(1, 0.05);
    await rig.diary.next("shutterOpened");
    rig.loop.end({ closeNow: false });
    await rig.diary.next("shutterClosed");
    while (!rig.messages.some(({ kind }) => kind === "ended")) await pause(5);
    expect(camera.asked.filter((code) => code === OPEN)).toHaveLength(1);
    expect(camera.asked.at(-1)).toBe(OPERATIONS.CloseSession.code);
  });
});

function pause(pauseMs: number): Promise<void> {
  return new Promise((resolve) => setTimeout(resolve, pauseMs));
}

import { afterEach, describe, expect, it } from "vitest";
import { openPtpCamera } from "../../controller/shutter/ptpCamera.ts";
import { readProfiles } from "../../controller/profiles/readProfiles.ts";
import { OPERATIONS } from "../../core/ptp/operations.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import type { CameraControls, ControlStep } from "../../core/profiles/cameraControls.ts";
import { controlsOf } from "../../core/profiles/resolve.ts";
import { keepDiary, orderFrame } from "../support/cameraDiary.ts";
import {
  encodedDeviceInfo,
  smallJpeg,
  startScriptedLoop,
  type ScriptedLoop,
} from "../support/scriptedCamera.ts";
import { startTestCamera } from "../support/testCamera.ts";

const { cameras } = readProfiles(null);
const controls = cameras.shipped.map(({ profile }) => controlsOf(profile.id, cameras));

/** The maker's own operations that a camera has to know for these controls. */
function ownOperations(one: CameraControls): readonly number[] {
  const { connectSteps, bulb, timedSteps, eventPoll } = one;
  const steps = [
    ...connectSteps,
    ...(bulb?.openSteps ?? []),
    ...(bulb?.closeSteps ?? []),
    ...(timedSteps ?? []),
  ];
  const numbers = [one.iso, one.fNumber, one.exposureTime].flatMap(
    (control) => control?.setThrough?.operation ?? [],
  );
  const all = [...steps.flatMap(operationsOfStep), ...numbers, eventPoll?.operation ?? 0];
  return [...new Set(all)].filter((code) => code >= 0x9000);
}

function operationsOfStep(step: ControlStep): readonly number[] {
  if (step.kind === "operation") return [step.operation];
  return step.kind === "property" && step.setThrough ? [step.setThrough.operation] : [];
}

describe("the virtual camera", () => {
  it("boots with every profile that needs no maker's own operation, and takes ten frames", async () => {
    const able = controls.filter((one) => ownOperations(one).length === 0);
    const ids = able.map(({ profileId }) => profileId);
    // The others cannot be represented: the virtual camera follows the standard alone. One that
    // needs only the standard's operations works properties which it does not have.
    expect(ids).toEqual(["extension-0000000e", "standard", "virtual-camera"]);
    const device = await startTestCamera({ rate: 50, busySeconds: 0.2 });
    const camera = openPtpCamera({
      cameraId: "camera-1",
      target: { kind: "ip", host: "127.0.0.1", port: device.port },
      origin: device.clock.origin,
      profiles: cameras,
    });
    const diary = keepDiary((listener) => camera.onEvent(listener));
    camera.connect();
    const { description } = await diary.next("connected");
    expect(description.profileId).toBe("standard");
    for (let frameIndex = 0; frameIndex < 10; frameIndex += 1) {
      orderFrame(camera, frameIndex, { exposureSeconds: 3, iso: 1600 });
      const { happened } = await diary.next("shutterClosed");
      expect(happened.iso).toBe(1600);
      expect((await diary.next("frameArrived")).frameIndex).toBe(frameIndex);
      await diary.next("ready");
    }
    await camera.close();
    await device.close();
  });
});

describe("a camera that understands its maker's own words", () => {
  let scripted: ScriptedLoop;
  afterEach(async () => await scripted.stop());

  it.each([
    [
      "extension-0000000a",
      ["1016(500d)=ffffffff", "9207(ffffffff,0)"],
      ["920c(0,0)"],
      { code: 0xc101, isPolled: true },
    ],
    ["extension-0000000b", ["9125()"], ["9126()"], { code: 0xc181, isPolled: true }],
    [
      "extension-0000000e",
      ["1016(d208)=0002", "100e(0,0)", "1016(d208)=0005", "100e(0,0)"],
      ["1016(d208)=0c00", "100e(0,0)"],
      { code: 0x4002, isPolled: false },
    ],
    [
      "extension-00000011",
      ["9205(d20d)=00000000", "9207(d2c1)=0200", "9207(d2c2)=0200"],
      ["9207(d2c2)=0100", "9207(d2c1)=0100"],
      { code: 0xc201, isPolled: false },
    ],
  ] as const)(
    "takes two frames by %s: opens by %j, closes by %j",
    async (profileId, opening, closing, { code, isPolled }) => {
      scripted = await startScriptedLoop({}, cameras);
      const { camera, loop, diary } = scripted;
      const vendorExtensionId = Number(`0x${profileId.split("-")[1]}`);
      const { eventPoll } = controlsOf(profileId, cameras);
      let pending: number[] = [];
      camera.override = (request) => {
        const { operationCode } = request;
        if (operationCode === OPERATIONS.GetDeviceInfo.code) {
          return { code: RESPONSES.OK, data: encodedDeviceInfo({ vendorExtensionId }) };
        }
        if (operationCode !== eventPoll?.operation) return undefined;
        const handles = pending;
        pending = [];
        return { code: RESPONSES.OK, data: eventsOf(eventPoll.layout, code, handles) };
      };
      loop.take({ kind: "connect" });
      const { description } = await diary.next("connected");
      expect(description).toMatchObject({ profileId, hasBulb: true });
      for (const frameIndex of [0, 1]) {
        const from = camera.requests.length;
        orderFrame({ expose: (order) => loop.take({ kind: "expose", order }) }, frameIndex, {
          exposureSeconds: 2.1,
        });
        await diary.next("shutterOpened");
        const opened = camera.requests.length;
        expect(words(camera.requests.slice(from, opened)).slice(-opening.length)).toEqual(opening);
        loop.take({ kind: "closeShutter", frameIndex });
        await diary.next("shutterClosed");
        const said = words(camera.requests.slice(opened));
        expect(said.slice(said.indexOf(closing[0]!)).slice(0, closing.length)).toEqual(closing);
        // One body names every file by one handle.
        const handle = profileId.endsWith("11") ? 0xffffc001 : 0x100 + frameIndex;
        const info = { filename: `A${frameIndex}.JPG` };
        camera.card.set(handle, { info, bytes: smallJpeg() });
        if (isPolled) pending = [handle];
        else camera.peer.event(code, 0, [handle]);
        expect(await diary.next("frameArrived")).toMatchObject({ frameIndex });
        await diary.next("ready");
      }
    },
  );

  it("sets ISO 800 by code 0x60 in a record where its properties are not described", async () => {
    scripted = await startScriptedLoop({}, cameras);
    const { camera, loop, diary } = scripted;
    camera.override = ({ operationCode }) =>
      operationCode === OPERATIONS.GetDeviceInfo.code
        ? { code: RESPONSES.OK, data: encodedDeviceInfo({ vendorExtensionId: 0x0b }) }
        : undefined;
    loop.take({ kind: "connect" });
    const { description } = await diary.next("connected");
    expect(description.isoLadder).toContain(12800);
    orderFrame({ expose: (order) => loop.take({ kind: "expose", order }) }, 0, { iso: 800 });
    await diary.next("shutterOpened");
    const records = camera.requests.filter(({ operationCode }) => operationCode === 0x9110);
    const iso = records.map(({ dataOut }) => Buffer.from(dataOut!).toString("hex"))[0];
    expect(iso).toBe("0c000000" + "03d10000" + "60000000");
    loop.take({ kind: "closeShutter", frameIndex: 0 });
    expect((await diary.next("shutterClosed")).happened.iso).toBe(800);
  });
});

type Request = ScriptedLoop["camera"]["requests"][number];

function words(requests: readonly Request[]): readonly string[] {
  return requests
    .filter(({ operationCode }) => operationCode !== 0x90c7 && operationCode !== 0x9116)
    .map(({ operationCode, parameters, dataOut }) => {
      const hex = parameters.map((parameter) => parameter.toString(16)).join(",");
      const data = dataOut ? `=${Buffer.from(dataOut).toString("hex")}` : "";
      return `${operationCode.toString(16)}(${hex})${data}`;
    });
}

function eventsOf(
  layout: "countedPairs" | "sizedRecords",
  code: number,
  handles: readonly number[],
): Uint8Array {
  const isPairs = layout === "countedPairs";
  const bytes = Buffer.alloc(isPairs ? 2 + 6 * handles.length : 12 * handles.length + 8);
  if (isPairs) bytes.writeUInt16LE(handles.length, 0);
  for (const [index, handle] of handles.entries()) {
    const at = isPairs ? 2 + 6 * index : 12 * index;
    if (isPairs) bytes.writeUInt16LE(code, at);
    else bytes.writeUInt32LE(12, at);
    if (!isPairs) bytes.writeUInt32LE(code, at + 4);
    bytes.writeUInt32LE(handle, at + (isPairs ? 2 : 8));
  }
  if (!isPairs) bytes.writeUInt32LE(8, 12 * handles.length);
  return bytes;
}

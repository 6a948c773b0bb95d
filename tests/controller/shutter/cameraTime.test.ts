import { afterEach, describe, expect, it } from "vitest";
import { openPtpCamera } from "../../../controller/shutter/ptpCamera.ts";
import type { Camera } from "../../../controller/cameras/camera.ts";
import type { ClockSetting } from "../../../controller/shutter/cameraTime.ts";
import { keepDiary } from "../../support/cameraDiary.ts";
import { startTestCamera, type TestCamera } from "../../support/testCamera.ts";

describe("a camera whose clock is 75 s ahead", () => {
  let device: TestCamera & { readonly port: number };
  let camera: Camera;
  afterEach(async () => {
    await camera.close();
    await device.close();
  });

  async function describeWith(setClock: ClockSetting | undefined) {
    // Ten night seconds a real one: a busy machine then costs a fraction of a second.
    device = await startTestCamera({ rate: 10, clockDriftSeconds: 75 });
    const target = { kind: "ip", host: "127.0.0.1", port: device.port } as const;
    camera = openPtpCamera({
      ...{ cameraId: "camera-1", target, setClock },
      origin: device.clock.origin,
    });
    const diary = keepDiary((listener) => camera.onEvent(listener));
    camera.connect();
    return (await diary.next("connected")).description;
  }

  it("is reported, and is left alone", async () => {
    const { clockOffsetMs, clockWasOffMs } = await describeWith(undefined);
    expect(Math.abs(clockOffsetMs! - 75_000)).toBeLessThan(2_000);
    expect(clockWasOffMs ?? null).toBeNull();
  });

  it("has its clock set to ours when asked", async () => {
    const { clockOffsetMs, clockWasOffMs } = await describeWith({ oursLessTrueMs: 0 });
    expect(Math.abs(clockWasOffMs! - 75_000)).toBeLessThan(2_000);
    expect(Math.abs(clockOffsetMs!)).toBeLessThan(3_000);
  });

  it("has its clock set to GNSS time where this computer is 40 s behind", async () => {
    const { clockOffsetMs } = await describeWith({ oursLessTrueMs: -40_000 });
    expect(Math.abs(clockOffsetMs! - 40_000)).toBeLessThan(3_000);
  });
});

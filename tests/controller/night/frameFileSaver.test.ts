import { existsSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import type { Camera } from "../../../controller/cameras/camera.ts";
import { FrameFileSaver } from "../../../controller/night/frameFileSaver.ts";
import { FrameFinder } from "../../../controller/night/frameFinder.ts";
import { utcMs } from "../../../core/units.ts";
import { NIGHT_START_UTC_MS, makeFrame } from "../../support/frameRecords.ts";
import { pictureWithExif } from "../../support/pictureWithExif.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const EXPOSURE = { exposureSeconds: 7.43, iso: 3200, fNumber: 2 };

async function reconciled(cameraName: string, exposure = EXPOSURE) {
  const info = {
    ...{ name: "Night", startUtcMs: NIGHT_START_UTC_MS, latitudeDeg: 68.9, longitudeDeg: 27 },
    ...{ placeName: "Hut Seven", isRehearsal: true },
  };
  const nightDir = createNightFolder(temporaryFolder(), info);
  const catalogue = Catalogue.create(nightDir, info);
  onTestFinished(() => {
    catalogue.close();
  });
  catalogue.putFrame(
    makeFrame({
      ...{ frameIndex: 0, status: "missing", file: null, reading: null, happened: null },
      ordered: EXPOSURE,
      openedUtcMs: utcMs(NIGHT_START_UTC_MS),
    }),
  );
  const bytes = await pictureWithExif(exposure);
  const camera = {
    cameraId: "made-up",
    listCard: () =>
      Promise.resolve([
        { cameraHandle: 7, cameraName, bytes: bytes.byteLength, captureDate: "20260110T200000Z" },
      ]),
    fetchFile: () => Promise.resolve(bytes),
  } as unknown as Camera;
  const clockOffsetMs = Date.UTC(2026, 0, 10, 20) - NIGHT_START_UTC_MS;
  const finder = new FrameFinder({ catalogue, cameraId: "made-up", rate: 1 });
  finder.noteClock(clockOffsetMs);
  const clock = { utcMs: () => utcMs(NIGHT_START_UTC_MS + 3_600_000) };
  const reconcile = async () =>
    await new FrameFileSaver(nightDir).reconcile(
      { camera, catalogue, clock },
      { beforeFrameIndex: 1, clockOffsetMs, finder },
    );
  const { recovered, strays } = await reconcile();
  return { nightDir, bytes, recovered, strays, catalogue, reconcile };
}

describe("fetching from the card what a break of the link kept from arriving", () => {
  it("gives the frame its file and, where nobody saw the shutter close, the exposure of its Exif", async () => {
    const { nightDir, bytes, recovered } = await reconciled("IMG_0001.JPG");
    expect(recovered).toHaveLength(1);
    expect(recovered[0]!.frame).toMatchObject({
      ...{ frameIndex: 0, status: "kept", happened: EXPOSURE },
      file: { path: "frames/000000.jpg", cameraName: "IMG_0001.JPG", cameraHandle: 7 },
    });
    expect(recovered[0]!.bytes).toEqual(bytes);
    expect(existsSync(join(nightDir, "frames/000000.jpg"))).toBe(true);
  });

  it("keeps a picture of another ISO as a stray, once, though it was taken at the frame's time", async () => {
    const { nightDir, recovered, strays, catalogue, reconcile } = await reconciled("IMG_0001.JPG", {
      ...EXPOSURE,
      iso: 100,
    });
    expect(recovered).toEqual([]);
    expect(strays).toMatchObject([{ card: { cameraName: "IMG_0001.JPG" } }]);
    expect(strays[0]!.why).toMatch(/its file says 7.43 s at ISO 100/);
    expect(catalogue.strays()).toEqual(strays);
    expect(existsSync(join(nightDir, strays[0]!.file.path))).toBe(true);
    expect(await reconcile()).toEqual({ recovered: [], strays: [] });
    expect(catalogue.strays()).toEqual(strays);
  });

  it("keeps a raw file under the camera's own ending", async () => {
    const { recovered } = await reconciled("IMG_0001.DNG");
    expect(recovered[0]!.frame.file?.path).toBe("frames/000000.dng");
  });
});

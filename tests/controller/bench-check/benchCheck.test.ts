import { readFileSync } from "node:fs";
import { afterEach, describe, expect, it } from "vitest";
import { benchCheck, type BenchCheckOptions } from "../../../controller/bench-check/benchCheck.ts";
import { errorsOf, spreadOf } from "../../../controller/bench-check/benchFigures.ts";
import { benchReport } from "../../../controller/bench-check/benchReport.ts";
import { writeLocalProfile } from "../../../controller/bench-check/localProfile.ts";
import { workingControls } from "../../../controller/bench-check/workingControls.ts";
import { STANDARD_CONTROLS } from "../../../controller/cameras/standardControls.ts";
import { createTransport } from "../../../controller/cameras/createTransport.ts";
import { openPtpCamera } from "../../../controller/shutter/ptpCamera.ts";
import { readProfiles } from "../../../controller/profiles/readProfiles.ts";
import { resolveCameraProfile } from "../../../core/profiles/resolve.ts";
import { utcMs } from "../../../core/units.ts";
import { keepDiary, orderFrame } from "../../support/cameraDiary.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";
import {
  startTestCamera,
  type TestCamera,
  type TestCameraOptions,
} from "../../support/testCamera.ts";

/** Night seconds a real second; latencies are real. */
const RATE = 20;
/** The blades are 100 ms late, real. */
const LATE = { closeLagSeconds: 2 };
const CHECK_UTC_MS = utcMs(Date.UTC(2027, 2, 24, 17, 0, 0));

let device: (TestCamera & { readonly port: number }) | null = null;
afterEach(async () => {
  await device?.close();
  device = null;
});

async function check(camera: TestCameraOptions, options: Partial<BenchCheckOptions> = {}) {
  device = await startTestCamera({ rate: RATE, busySeconds: 0.2, ...camera });
  const { port, clock } = device;
  return await benchCheck({
    createTransport: () => createTransport({ kind: "ip", host: "127.0.0.1", port }),
    controlsFor: () => STANDARD_CONTROLS,
    origin: clock.origin,
    scheduling: null,
    onStep: () => undefined,
    ...options,
  });
}

describe("a bench check", () => {
  it("finds shutter blades that are 100 ms late, takes that off, and says so", async () => {
    const figures = await check(LATE);
    expect(figures.bulb.map(({ askedSeconds }) => askedSeconds)).toEqual([1, 2, 5, 1, 2, 5]);
    expect(figures.bulbExcessMs).toBeGreaterThan(99);
    expect(figures.bulbExcessMs).toBeLessThan(200);
    const before = spreadOf(errorsOf(figures.bulb))!.median;
    const after = Math.abs(spreadOf(errorsOf(figures.compensated))!.median);
    expect(before).toBeGreaterThan(1.9);
    expect(after).toBeLessThan(before / 2);
    const report = benchReport(figures);
    expect(report).toMatch(/^longer than held\s+1\d\d\.\d ms; taken off from now on$/m);
    expect(report).toMatch(/^ISO\s+100 to \d+, \d+ values; 3 of 3 read back as set$/m);
  });

  it("tells what it saw: settings, preview, events, battery; and puts the settings back", async () => {
    const figures = await check({ batteryPercent: 80 });
    const { camera } = device!;
    expect(figures).toMatchObject({
      ...{ model: "Virtual camera", serialNumber: "0000002a", profileId: "standard" },
      ...{ program: "manual", focus: "manual" },
    });
    for (const { tried, values, isRestored } of figures.settings) {
      expect(tried.map(({ asked }) => asked)).toEqual([
        values[0],
        values[Math.round((values.length - 1) / 2)],
        values.at(-1),
      ]);
      expect(tried.every(({ asked, readBack }) => asked === readBack)).toBe(true);
      expect(isRestored).toBe(true);
    }
    expect(figures.preview).toMatchObject({ readsPieces: true });
    expect(figures.preview!.thumbBytes).toBeGreaterThan(100);
    // Nine by bulb and two by the camera's own timer.
    expect(figures.events).toContainEqual({ code: 0x4002, count: 11 });
    expect(figures.timed.map(({ hasFile }) => hasFile)).toEqual([true, true]);
    expect(figures.battery.beforePercent).toBeGreaterThan(70);
    const deadTimes = figures.bulb.map(({ deadMs }) => (deadMs === null ? null : deadMs > 0));
    expect(deadTimes).toEqual([true, true, true, true, true, null]);
    expect(camera.capture.exposing).toBeNull();
  });

  it.each([
    ["realTime", /^timing +The shutter is timed with real-time scheduling\.$/m],
    ["ordinary", /^timing +The shutter is timed without real-time .* administrator allow it/m],
    [null, /^timing +not known before this camera's first watch/m],
  ] as const)("reports the scheduling that was granted: %s", async (scheduling, row) => {
    expect(benchReport(await check({ hasBulb: false }, { scheduling }))).toMatch(row);
  });

  it("says that a camera without bulb has none, and still tells the rest", async () => {
    const figures = await check({ hasBulb: false });
    expect(figures).toMatchObject({ bulb: [], bulbExcessMs: null });
    expect(figures.timed).toHaveLength(2);
    expect(figures.preview).not.toBeNull();
    expect(benchReport(figures)).toMatch(/^bulb\s+the camera offers no bulb over its cable$/m);
  });

  it("finds files by asking when the camera does not announce the second", async () => {
    const figures = await check({ faults: { loseObjectAddedAtFrame: 8 } }, { fileMsMax: 200 });
    const last = figures.compensated.at(-1)!;
    expect(last.exifSeconds).not.toBeNull();
    expect(last.namedMs).toBeNull();
  });

  it("ends early when interrupted, with the shutter closed", async () => {
    const abort = new AbortController();
    const ended = check({}, { signal: abort.signal });
    await expect.poll(() => device?.camera.capture.exposing ?? null).not.toBeNull();
    abort.abort();
    await expect(ended).rejects.toMatchObject({ code: "camera.refused" });
    expect(device!.camera.capture.exposing).toBeNull();
  });
});

describe("the profile that it writes", () => {
  it("extends the standard's own, matches this camera alone, and says where each claim is from", async () => {
    const path = temporaryFolder();
    const figures = await check(LATE);
    const file = writeLocalProfile(figures, { dataDir: path, utcMs: CHECK_UTC_MS });
    expect(file.slice(path.length)).toBe("/profiles/cameras/measured-virtual-camera-0000002a.json");
    const written = JSON.parse(readFileSync(file, "utf8")) as Record<string, never>;
    expect(written).toMatchObject({
      extends: "standard",
      match: [{ model: "Virtual camera", serialNumber: "0000002a", ptpVendorExtensionId: "0x0" }],
      measured: { checkedUtc: "2027-03-24T17:00:00.000Z", readsPieces: true },
    });
    expect(JSON.stringify(written["shutter"])).toMatch(
      /bench check of 2027-03-24, 6 bulb exposures/,
    );
  });

  it("makes the night's exposures of 2.5 s nearer to what is asked", async () => {
    const path = temporaryFolder();
    const figures = await check(LATE);
    writeLocalProfile(figures, { dataDir: path, utcMs: CHECK_UTC_MS });
    const facts = {
      ...{ usbVendorId: null, usbProductId: null, ptpVendorExtensionId: 0 },
      ...{ manufacturer: "", operations: [] },
      ...{ model: "Virtual camera", serialNumber: "0000002a", firmware: "test" },
    };
    const controls = resolveCameraProfile(facts, readProfiles(path).cameras);
    expect(controls.bulbExcessMs).toBeCloseTo(figures.bulbExcessMs!, 2);
    const errors: number[] = [];
    for (const profile of [STANDARD_CONTROLS, controls]) {
      errors.push(await errorOfNight(profile));
    }
    expect(errors[0]).toBeGreaterThan(1.5);
    expect(errors[1]).toBeLessThan(errors[0]! / 2);
  });

  it("is left aside when the camera is checked again", async () => {
    const path = temporaryFolder();
    const figures = await check(LATE);
    writeLocalProfile(figures, { dataDir: path, utcMs: CHECK_UTC_MS });
    const controls = workingControls({ ...figures, deviceVersion: "test" } as never, path);
    expect(controls).toMatchObject({ profileId: "standard", bulbExcessMs: null });
  });
});

/** Mean error of three frames of 2.5 s, night seconds, by the camera's own record. */
async function errorOfNight(profile: typeof STANDARD_CONTROLS): Promise<number> {
  const { port, clock, pictures } = device!;
  const camera = openPtpCamera({
    ...{ cameraId: "camera-1", origin: clock.origin, profile },
    target: { kind: "ip", host: "127.0.0.1", port },
  });
  const diary = keepDiary((listener) => camera.onEvent(listener));
  camera.connect();
  await diary.next("connected");
  const first = pictures.orders.length;
  for (let index = 0; index < 3; index += 1) {
    orderFrame(camera, index, { exposureSeconds: 2.5 });
    await diary.next("frameArrived");
  }
  await camera.close();
  const errors = pictures.orders.slice(first).map(({ exposure }) => exposure.exposureSeconds - 2.5);
  return Math.abs(errors.reduce((sum, error) => sum + error, 0) / errors.length);
}

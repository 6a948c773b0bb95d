import { describe, expect, test } from "vitest";
import { createClock } from "../../../controller/timing/clock.ts";
import { batteryPercent } from "../../../controller/virtual-camera/battery.ts";
import { createCameraClock } from "../../../controller/virtual-camera/cameraClock.ts";
import { Store } from "../../../controller/virtual-camera/store.ts";
import { monotonicMs, utcMs } from "../../../core/units.ts";

const HOUR = 3_600_000;

describe("the battery", () => {
  test("lasts its hours when one 15-second frame follows the other", () => {
    const hours = 20;
    const use = { onMs: hours * HOUR, openMs: hours * HOUR, frameCount: (hours * 3600) / 15 };
    expect(batteryPercent(100, hours, use)).toBeCloseTo(0, 9);
    expect(batteryPercent(100, hours, { ...use, frameCount: 0 })).toBeCloseTo(10, 9);
  });

  test("drains more slowly while nothing happens, and never below empty", () => {
    const idle = { onMs: 10 * HOUR, openMs: 0, frameCount: 0 };
    expect(batteryPercent(100, 20, idle)).toBeCloseTo(75, 9);
    expect(batteryPercent(10, 20, { ...idle, onMs: 900 * HOUR })).toBe(0);
  });
});

describe("the camera's clock", () => {
  const startUtcMs = utcMs(Date.UTC(2027, 2, 24, 18));
  const clock = createClock({
    rate: 1,
    realOriginMs: performance.timeOrigin + performance.now(),
    startUtcMs,
  });
  const at = (ms: number) => monotonicMs(ms);

  test("is ahead by its drift, which grows by its gain", () => {
    const camera = createCameraClock(clock, 30, 24);
    expect(Math.abs(camera.utcOf(at(0)) - startUtcMs - 30_000)).toBeLessThan(50);
    const later = camera.utcOf(at(12 * HOUR)) - camera.utcOf(at(0)) - 12 * HOUR;
    expect(later).toBeCloseTo(12_000, -1);
  });

  test("says what it was set to, and goes on from there", () => {
    const camera = createCameraClock(clock, 30, 0);
    camera.set(utcMs(startUtcMs + 5 * HOUR), at(HOUR));
    expect(camera.utcOf(at(HOUR))).toBe(startUtcMs + 5 * HOUR);
    expect(camera.utcOf(at(2 * HOUR))).toBe(startUtcMs + 6 * HOUR);
  });
});

describe("the card's directory", () => {
  const picture = {
    bytes: 40_000,
    thumbnail: new Uint8Array(10),
    widthPx: 96,
    heightPx: 64,
    captureDate: "20270324T180000",
  };

  test("numbers files from 1 and begins a new folder after 9999", () => {
    const store = new Store({ capacityBytes: 1e12, typicalBytes: 40_000 });
    const paths: string[] = [];
    for (let index = 0; index < 10_001; index += 1) {
      const expectedPath = store.nextPath();
      const path = store.pathOf(store.add(picture));
      expect(path).toBe(expectedPath);
      paths.push(path);
    }
    expect(paths[0]).toBe("DCIM/100NIGHT/NATT0001.JPG");
    expect(paths[9998]).toBe("DCIM/100NIGHT/NATT9999.JPG");
    expect(paths[9999]).toBe("DCIM/101NIGHT/NATT0001.JPG");
    expect(new Set(paths).size).toBe(paths.length);
  });

  test("counts whole blocks of 32 KiB and gives them back", () => {
    const store = new Store({ capacityBytes: 200_000, typicalBytes: 40_000 });
    expect(store.freeBytes).toBe(200_000);
    const object = store.add(picture);
    expect(store.freeBytes).toBe(200_000 - 65_536);
    expect(store.hasRoom(134_464)).toBe(false);
    store.remove(object.handle);
    expect(store.freeBytes).toBe(200_000);
  });

  test("makes its folders again when they have been deleted", () => {
    const store = new Store({ capacityBytes: 1e9, typicalBytes: 40_000 });
    for (const folder of store.list()) store.remove(folder.handle);
    expect(store.pathOf(store.add(picture))).toBe("DCIM/100NIGHT/NATT0001.JPG");
  });
});

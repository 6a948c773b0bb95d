import { describe, expect, it } from "vitest";
import {
  addLight,
  calibrateLight,
  lightBetween,
  lightMeterTrust,
  startLightMeter,
  type LightMeter,
} from "../../../core/exposure/lightMeter.ts";
import { createRandom } from "../../../core/random.ts";

/** A meter of unknown scale on a sky, with frames of 8 s every 10 s that are read 1 s later. */
function watch(options: {
  readonly seconds: number;
  readonly lightAt: (seconds: number) => number;
  readonly valueAt?: (seconds: number, light: number) => number;
  readonly scale?: number;
  readonly from?: { readonly meter: LightMeter; readonly atSeconds: number };
}): LightMeter {
  const { lightAt, scale = 730 } = options;
  const valueAt = options.valueAt ?? ((_seconds, light) => scale * light);
  const noise = createRandom("light").fork(String(options.from?.atSeconds ?? 0));
  let meter = options.from?.meter ?? startLightMeter();
  const start = options.from?.atSeconds ?? 0;
  for (let tick = 1; tick <= options.seconds * 10; tick += 1) {
    const atSeconds = start + tick / 10;
    const value = valueAt(atSeconds, lightAt(atSeconds) * (1 + 0.02 * noise.normal()));
    meter = addLight(meter, { atSeconds, value });
    if (tick % 100 === 90) {
      const openedSeconds = atSeconds - 9;
      let light = 0;
      for (let step = 0; step < 80; step += 1) light += lightAt(openedSeconds + step / 10) / 80;
      const level = Math.log2(light) + 0.02 * noise.normal();
      meter = calibrateLight(meter, { openedSeconds, closedSeconds: openedSeconds + 8, level });
    }
  }
  return meter;
}

const wavy = (seconds: number): number => 2e-3 * 2 ** Math.sin(seconds / 40);

describe("the sky light meter", () => {
  it("learns its scale from the frames within a minute, to 2 %", () => {
    for (const scale of [0.01, 3, 5e5]) {
      const meter = watch({ seconds: 60, lightAt: wavy, scale });
      expect(lightMeterTrust(meter, 60).kind).toBe("followed");
      const said = lightBetween(meter, 50, 60)!;
      let truth = 0;
      for (let step = 0; step < 100; step += 1) truth += wavy(50 + step / 10) / 100;
      expect(Math.abs(said / truth - 1)).toBeLessThan(0.03);
    }
  });

  it("is learning until three frames have agreed", () => {
    const meter = watch({ seconds: 15, lightAt: wavy });
    expect(lightMeterTrust(meter, 15)).toEqual({ kind: "ignored", why: "learning" });
    expect(lightMeterTrust(startLightMeter(), 0)).toEqual({ kind: "ignored", why: "no samples" });
  });

  it("learns a dark offset once the sky has changed", () => {
    const meter = watch({
      seconds: 600,
      lightAt: wavy,
      valueAt: (_seconds, light) => 100 * (light + 2e-4),
    });
    const bright = addLight(meter, { atSeconds: 600.1, value: 100 * (0.02 + 2e-4) });
    const still = addLight(bright, { atSeconds: 600.6, value: 100 * (0.02 + 2e-4) });
    expect(lightBetween(still, 600.1, 600.6)! / 0.02).toBeCloseTo(1, 1);
  });

  it("is ignored as jammed when its value stands still for half a second, and followed again when it moves", () => {
    const before = watch({ seconds: 60, lightAt: wavy });
    const jammed = watch({
      seconds: 0.7,
      lightAt: wavy,
      valueAt: () => 1.46,
      from: { meter: before, atSeconds: 60 },
    });
    expect(lightMeterTrust(jammed, 60.7)).toEqual({ kind: "ignored", why: "jammed" });
    const moving = addLight(jammed, { atSeconds: 60.8, value: 1.45 });
    expect(lightMeterTrust(moving, 60.8).kind).toBe("followed");
  });

  it("is ignored as silent half a second after its last sample", () => {
    const meter = watch({ seconds: 60, lightAt: wavy });
    expect(lightMeterTrust(meter, 60.3).kind).toBe("followed");
    expect(lightMeterTrust(meter, 60.7)).toEqual({ kind: "ignored", why: "silent" });
  });

  it("is ignored after a torch that the frames deny, until six frames agree again", () => {
    const before = watch({ seconds: 100, lightAt: wavy });
    const torch = watch({
      seconds: 10,
      lightAt: wavy,
      valueAt: (_seconds, light) => 730 * light * 8,
      from: { meter: before, atSeconds: 100 },
    });
    expect(lightMeterTrust(torch, 110)).toEqual({ kind: "ignored", why: "disagrees" });
    const soon = watch({ seconds: 50, lightAt: wavy, from: { meter: torch, atSeconds: 110 } });
    expect(lightMeterTrust(soon, 160).kind).toBe("ignored");
    const later = watch({ seconds: 20, lightAt: wavy, from: { meter: soon, atSeconds: 160 } });
    expect(lightMeterTrust(later, 180).kind).toBe("followed");
    expect(lightBetween(later, 170, 175)! / wavy(172.5)).toBeCloseTo(1, 1);
  });

  it("does not call a coarse meter jammed whose value often repeats", () => {
    const coarse = (_seconds: number, light: number) => Math.round(light * 2e4);
    const meter = watch({ seconds: 300, lightAt: () => 2e-3, valueAt: coarse });
    expect(lightMeterTrust(meter, 300).kind).toBe("followed");
  });

  it("believes no second jump before a frame confirms it, once one has been a lie", () => {
    const lamp = (seconds: number, light: number) =>
      730 * light * (seconds > 100 && seconds < 104 ? 8 : 1);
    const lied = watch({ seconds: 300, lightAt: wavy, valueAt: lamp });
    expect(lightMeterTrust(lied, 300).kind).toBe("followed");
    const again = addLight(lied, { atSeconds: 300.1, value: 730 * 8 * wavy(300) });
    expect(lightMeterTrust(again, 300.1)).toEqual({ kind: "ignored", why: "jumped" });
    const real = watch({
      seconds: 30,
      lightAt: (seconds) => 8 * wavy(seconds),
      from: { meter: again, atSeconds: 300.1 },
    });
    expect(lightMeterTrust(real, 330.1).kind).toBe("followed");
  });

  it("follows a slow drift of its scale, 20 % an hour, within 3 %", () => {
    const meter = watch({
      seconds: 3600,
      lightAt: wavy,
      valueAt: (seconds, light) => 500 * light * 1.2 ** (seconds / 3600),
    });
    expect(lightMeterTrust(meter, 3600).kind).toBe("followed");
    expect(Math.abs(lightBetween(meter, 3595, 3600)! / wavy(3597.5) - 1)).toBeLessThan(0.03);
  });

  it("learns its scale again after something has been put over it for good", () => {
    const before = watch({ seconds: 100, lightAt: wavy });
    const after = watch({
      seconds: 300,
      lightAt: wavy,
      valueAt: (_seconds, light) => 70 * light,
      from: { meter: before, atSeconds: 100 },
    });
    expect(lightMeterTrust(after, 400).kind).toBe("followed");
    expect(lightBetween(after, 395, 400)! / wavy(397.5)).toBeCloseTo(1, 1);
  });

  it("says nothing of a frame during which it was silent", () => {
    const meter = watch({ seconds: 60, lightAt: wavy });
    const back = addLight(meter, { atSeconds: 70, value: 1 });
    const going = addLight(back, { atSeconds: 70.1, value: 1.01 });
    expect(lightBetween(going, 55, 70.1)).toBeNull();
    expect(lightBetween(going, 70, 70.1)).not.toBeNull();
  });

  it("drops samples that are no numbers or not later than the newest", () => {
    const meter = addLight(startLightMeter(), { atSeconds: 1, value: 3 });
    expect(addLight(meter, { atSeconds: 1, value: 4 })).toBe(meter);
    expect(addLight(meter, { atSeconds: 2, value: NaN })).toBe(meter);
    expect(addLight(meter, { atSeconds: Infinity, value: 4 })).toBe(meter);
  });

  it("remembers a minute and a half at 10 samples a second, not the whole night", () => {
    const meter = watch({ seconds: 600, lightAt: wavy });
    const count = meter.record.blocks.reduce(
      (sum, block) => sum + block.length,
      meter.record.tail.length,
    );
    expect(count).toBeGreaterThan(890);
    expect(count).toBeLessThan(1000);
  });
});

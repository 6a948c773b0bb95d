import { describe, expect, it } from "vitest";
import {
  channelGrain,
  FULL_FRAME_SENSOR,
  greenElectrons,
  linearPerCdM2,
} from "../../../core/simulation/sensor.ts";

const EXPOSURE = { exposureSeconds: 15, iso: 1600, fNumber: 2.8 };
const BASE = { exposure: EXPOSURE, transmission: 0.85, sensor: FULL_FRAME_SENSOR, pitchUm: 6 };

describe("a simulated sensor", () => {
  it("fills its green wells at the luminance that saturates the ISO, within 2 % of 60,000/16", () => {
    const luminanceCdM2 = 1 / linearPerCdM2(EXPOSURE);
    const electrons = greenElectrons({ luminanceCdM2, ...BASE });
    expect(electrons / (60_000 / 16)).toBeGreaterThan(0.98);
    expect(electrons / (60_000 / 16)).toBeLessThan(1.02);
  });

  it("lets green clip first: red and blue wells hold more than white", () => {
    const ceiling = (channel: "red" | "green" | "blue"): number =>
      channelGrain({ channel, ...BASE }).ceiling;
    expect(ceiling("green")).toBeLessThanOrEqual(1);
    expect(ceiling("blue")).toBeGreaterThan(1.3);
    expect(ceiling("red")).toBeGreaterThan(ceiling("blue"));
  });

  it("is grainier in the dark at ISO 6400 than at 1600 by the gain, four times", () => {
    const floor = (iso: number): number =>
      Math.sqrt(channelGrain({ channel: "green", ...BASE, exposure: { ...EXPOSURE, iso } }).floor);
    expect(floor(6400) / floor(1600)).toBeCloseTo(4, 6);
  });

  it("averages grain away in a smaller picture: four times the pitch, eight green pixels", () => {
    const grain = channelGrain({ channel: "green", ...BASE, pitchUm: 24 });
    expect(grain.pixelCount).toBe(8);
    expect(channelGrain({ channel: "green", ...BASE }).perLight / grain.perLight).toBeCloseTo(8, 9);
  });
});

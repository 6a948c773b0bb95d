import { describe, expect, it } from "vitest";

import { readFraming } from "../../../../core/photometry/framing/framing.ts";
import { type FramePixels } from "../../../../core/photometry/framing/lightGrid.ts";
import { createRandom } from "../../../../core/random.ts";
import { FULL_FRAME_SENSOR, renderFrame, TONE_CURVES } from "../../../../core/simulation/render.ts";
import { createSky, DEMO_NIGHT, HUT_SEVEN } from "../../../../core/simulation/sky.ts";
import { utcMs } from "../../../../core/units.ts";

type Scene = {
  readonly tiltDeg?: number;
  readonly lamps?: readonly {
    x: number;
    y: number;
    radius: number;
    rgb: readonly [number, number, number];
  }[];
  readonly glowAt?: number | null;
  readonly hasLand?: boolean;
};

const [WIDTH, HEIGHT] = [600, 400];

/** A plain night frame: a grey-blue sky, rough dark land, lamps, a warm dome. */
function paint({ tiltDeg = 0, lamps = [], glowAt = null, hasLand = true }: Scene): FramePixels {
  const random = createRandom("framing");
  const rgb = new Uint8Array(WIDTH * HEIGHT * 3);
  const slope = Math.tan((tiltDeg * Math.PI) / 180);
  const trees = Array.from({ length: WIDTH }, () => 12 * random.uniform() ** 3);
  for (let y = 0; y < HEIGHT; y += 1) {
    for (let x = 0; x < WIDTH; x += 1) {
      const horizon = 300 + slope * (x - WIDTH / 2) - trees[x]!;
      const isLand = hasLand && y > horizon;
      const dome =
        glowAt === null
          ? 0
          : 70 * Math.exp(-(((x - glowAt * WIDTH) / 45) ** 2) - Math.max(0, horizon - y) / 25);
      const grain = 6 * random.normal();
      const code = isLand ? [9, 9, 9] : [42 + dome, 48 + 0.6 * dome, 52 + 0.3 * dome];
      for (let channel = 0; channel < 3; channel += 1) {
        rgb[(y * WIDTH + x) * 3 + channel] = Math.min(255, Math.max(0, code[channel]! + grain));
      }
    }
  }
  for (const { x, y, radius, rgb: colour } of lamps) {
    for (let dy = -radius; dy <= radius; dy += 1) {
      for (let dx = -radius; dx <= radius; dx += 1) {
        if (Math.hypot(dx, dy) > radius) continue;
        const pixel = ((Math.round(y * HEIGHT) + dy) * WIDTH + Math.round(x * WIDTH) + dx) * 3;
        colour.forEach((code, channel) => (rgb[pixel + channel] = code));
      }
    }
  }
  return { rgb, widthPx: WIDTH, heightPx: HEIGHT };
}

describe("the framing of a test frame", () => {
  it.each([-8, -3, -1.2, 0, 0.5, 2, 6])("finds a tilt of %d° within 0.3°", (tiltDeg) => {
    const { horizon, isLevel } = readFraming(paint({ tiltDeg }));
    expect(horizon.kind).toBe("found");
    if (horizon.kind === "found") expect(Math.abs(horizon.tiltDeg - tiltDeg)).toBeLessThan(0.3);
    expect(isLevel).toBe(Math.abs(tiltDeg) <= 1);
  });

  it("tells which way to turn: a horizon that falls to the right wants the camera clockwise", () => {
    expect(readFraming(paint({ tiltDeg: 4 })).remarks[0]).toMatch(
      /falls to the right by 4\.\d° *: turn the camera clockwise/,
    );
    expect(readFraming(paint({ tiltDeg: -4 })).remarks[0]).toMatch(/to the left .* anticlockwise/);
  });

  it("says unknown rather than guess where there is no land", () => {
    const { horizon, isLevel, remarks } = readFraming(paint({ hasLand: false }));
    expect(horizon.kind).toBe("unknown");
    expect(isLevel).toBeNull();
    expect(remarks[0]).toMatch(/Horizon not found/);
  });

  it("points out a clipped lamp on land and a clipped Moon in the sky, and no star", () => {
    const white = [255, 255, 255] as const;
    const { lamps } = readFraming(
      paint({
        lamps: [
          { x: 0.8, y: 0.74, radius: 3, rgb: [255, 220, 120] },
          { x: 0.3, y: 0.2, radius: 6, rgb: white },
          { x: 0.5, y: 0.3, radius: 0, rgb: white },
        ],
      }),
    );
    expect(lamps.map(({ kind }) => kind)).toEqual(["moonOrLamp", "lamp"]);
    expect(lamps[1]!.x).toBeCloseTo(0.8, 1);
    expect(lamps[1]!.y).toBeCloseTo(0.74, 1);
  });

  it("takes clipped green aurora for no lamp", () => {
    const green = { x: 0.4, y: 0.4, radius: 20, rgb: [120, 255, 140] as const };
    expect(readFraming(paint({ lamps: [green] })).lamps).toEqual([]);
  });

  it("finds a warm dome over the land where it stands, and none in a clean sky", () => {
    const { townGlow } = readFraming(paint({ glowAt: 0.25 }));
    expect(townGlow).toHaveLength(1);
    expect(townGlow[0]!.x).toBeCloseTo(0.25, 1);
    expect(townGlow[0]!.stops).toBeGreaterThan(0.5);
    expect(readFraming(paint({})).townGlow).toEqual([]);
    expect(readFraming(paint({})).remarks).toEqual([
      "The horizon is level; no lamp and no town light stand out.",
    ]);
  });

  it("answers for a frame that is too small, black or white", () => {
    const tiny = { rgb: new Uint8Array(8 * 8 * 3), widthPx: 8, heightPx: 8 };
    expect(readFraming(tiny).horizon.kind).toBe("unknown");
    const black = { rgb: new Uint8Array(WIDTH * HEIGHT * 3), widthPx: WIDTH, heightPx: HEIGHT };
    expect(readFraming(black)).toMatchObject({ horizon: { kind: "unknown" }, lamps: [] });
    const white = { ...black, rgb: black.rgb.map(() => 255) };
    expect(readFraming(white).horizon.kind).toBe("unknown");
  });

  it("reads the rendered hut: a level shore, a clipped window at the right, a town glow at the left", () => {
    const sky = createSky({ seed: "7", place: HUT_SEVEN, ...DEMO_NIGHT, scenario: "demo" });
    const { rgb } = renderFrame({
      sky,
      openedUtcMs: utcMs(DEMO_NIGHT.startUtcMs + 3 * 3_600_000),
      exposure: { exposureSeconds: 8, iso: 6400, fNumber: 2.8 },
      widthPx: 720,
      heightPx: 480,
      lens: { focalLengthMm: 16 },
      sensor: FULL_FRAME_SENSOR,
      toneCurve: TONE_CURVES.contrasty,
      random: createRandom("framing"),
    });
    const reading = readFraming({ rgb, widthPx: 720, heightPx: 480 });
    expect(reading.isLevel).toBe(true);
    expect(reading.lamps[0]!.kind).toBe("lamp");
    expect(reading.lamps[0]!.x).toBeGreaterThan(0.6);
    expect(reading.townGlow[0]!.x).toBeLessThan(0.35);
  });
});

import type { Random } from "../../core/random.ts";
import type { StarScene } from "./starPhotograph.ts";

/** Twelve places where aurora is photographed, and a few where only stars are. */
const PLACES = [
  [69.65, 18.96],
  [78.22, 15.65],
  [64.84, -147.72],
  [62.45, -114.37],
  [64.13, -21.9],
  [67.85, 20.23],
  [68.97, 33.08],
  [61.22, -149.9],
  [51.48, 0],
  [-43.53, 172.64],
  [-54.8, -68.3],
  [-77.85, 166.67],
] as const;

const SENSORS = [
  { sensorWidthMm: 36, heightShare: 2 / 3 },
  { sensorWidthMm: 23.5, heightShare: 2 / 3 },
  { sensorWidthMm: 17.3, heightShare: 3 / 4 },
];

const FOCAL_LENGTHS_MM = [10, 12, 14, 16, 18, 20, 24, 28, 35];

/**
 * A made-up photograph of a real sky: any lens from 10 to 35 mm, twelve places, clouds, Moon, aurora
 * over half the frame, stray points of light.
 */
export function starScene(random: Random, changes: Partial<StarScene> = {}): StarScene {
  const pick = <T>(list: readonly T[]): T => list[random.integer(list.length)]!;
  const [latitudeDeg, longitudeDeg] = pick(PLACES);
  const { sensorWidthMm, heightShare } = pick(SENSORS);
  const widthPx = 1536;
  const between = (low: number, high: number): number => low + (high - low) * random.uniform();
  return {
    // Any moment of 2026 to 2030: the stars do not mind the Sun here.
    utcMs:
      Date.UTC(2026, 0, 1) +
      Math.floor(between(0, 5 * 365.25)) * 86_400_000 +
      random.integer(86_400_000),
    latitudeDeg,
    longitudeDeg,
    focalLengthMm: pick(FOCAL_LENGTHS_MM) * between(0.98, 1.02),
    sensorWidthMm,
    widthPx,
    heightPx: Math.round(widthPx * heightShare),
    azimuthDeg: between(0, 360),
    altitudeDeg: between(12, 70),
    rollDeg: between(-4, 4),
    barrel: [between(-0.05, 0.02), between(-0.01, 0.01)],
    axisPx: [between(-4, 4), between(-4, 4)],
    sky: between(0.15, 0.6),
    zeroMagLight: 10 ** between(1.6, 2.4),
    starFwhmPx: between(1.7, 2.6),
    noise: between(0.02, 0.06),
    aurora: random.uniform() < 0.5 ? between(0.2, 1) : 0,
    clouds: random.uniform() < 0.4 ? between(0.2, 0.7) : 0,
    hasMoon: random.uniform() < 0.3,
    strayCount: random.integer(12),
    ...changes,
  };
}

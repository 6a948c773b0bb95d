import { EARTH_RADIUS_KM } from "../sky/auroraGeometry.ts";
import { fractalNoise } from "./noise.ts";
import type { Direction } from "../sky/direction.ts";

/** A layer of cloud that the wind carries; how much of it there is comes from the night's course. */
export type CloudLayer = {
  readonly heightKm: number;
  /** Drift to the east and to the north, m/s. */
  readonly windMPerS: readonly [number, number];
  /** Optical thickness where the cloud is densest, at full cover. */
  readonly thickness: number;
  /** Width of a cloud, km. */
  readonly scaleKm: number;
  readonly pattern: Float32Array;
};

/**
 * Share of light that passes the layer toward a direction, 0..1.
 *
 * @param cover  0 none .. 1 overcast.
 * @param atSeconds  Since the night's start.
 * Source: Beer and Lambert's law along the slanted path; the cloud itself is invented.
 */
export function cloudTransmission(
  layer: CloudLayer,
  cover: number,
  atSeconds: number,
  direction: Direction,
): number {
  if (cover <= 0) return 1;
  const up = Math.max(0, direction[2]);
  const rise = EARTH_RADIUS_KM * up;
  const pathKm = Math.sqrt(rise * rise + 2 * EARTH_RADIUS_KM * layer.heightKm) - rise;
  const x = pathKm * direction[0] - (layer.windMPerS[0] * atSeconds) / 1000;
  const y = pathKm * direction[1] - (layer.windMPerS[1] * atSeconds) / 1000;
  const cloud = fractalNoise(layer.pattern, x / layer.scaleKm, y / layer.scaleKm);
  // Toward the horizon clouds crowd together until none is seen by itself.
  const noise = 0.5 + (cloud - 0.5) * Math.min(1, up / 0.12);
  const threshold = 0.95 - 0.95 * cover;
  const density = Math.min(1, Math.max(0, (noise - threshold) / 0.5)) * Math.min(1, 0.4 + cover);
  const slant = Math.min(4, 1 / Math.max(0.01, up));
  return Math.exp(-layer.thickness * density * slant);
}

/**
 * What a cloud gives off of the light that it takes: of the whole sky's mean, and, while it is thin
 * and scatters light not far, of what is right behind it. Common practice, no source.
 */
const CLOUD_GLOW = { everywhere: 0.7, behind: 0.6 };

/**
 * Light from a direction with a cloud before it: what passes, and the cloud's own glow.
 *
 * @param behind  Light from behind the cloud, any unit.
 * @param skyMean  Mean of the whole sky's light, same unit.
 * @param transmission  0..1, as `cloudTransmission` gives it.
 */
export function cloudLit(behind: number, skyMean: number, transmission: number): number {
  const kept = 1 - transmission;
  return (
    behind * transmission * (1 + CLOUD_GLOW.behind * kept) + CLOUD_GLOW.everywhere * skyMean * kept
  );
}

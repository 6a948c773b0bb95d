import { createRandom } from "../random.ts";
import { noiseAt, noiseLine } from "./noise.ts";

/** The dark land around the lake: what hides the sky, and the hut's window. */
export type Foreground = {
  /** Altitude of the silhouette for each azimuth, degrees, `PROFILE_PER_DEG` a degree from north. */
  readonly profileDeg: Float32Array;
  /** Altitude of the far shore; below it the lake mirrors sky and silhouette. */
  readonly shoreDeg: number;
  /** Share of the sky's light that the land throws back. Source: conifers 0.03 to 0.1, common practice. */
  readonly albedo: number;
  readonly window: HutWindow | null;
};

/** A lit window, a small upright rectangle. */
export type HutWindow = {
  readonly azimuthDeg: number;
  readonly altitudeDeg: number;
  readonly widthDeg: number;
  readonly heightDeg: number;
  readonly luminanceCdM2: number;
};

/** Silhouette samples in a degree of azimuth. */
export const PROFILE_PER_DEG = 60;

const PROFILE_COUNT = 360 * PROFILE_PER_DEG;

/** Altitude of the far shore of the lake, degrees. Invented. */
const SHORE_DEG = -0.35;

/**
 * A spruce shore with hills behind it and a hut to the right of the frame's centre. Invented.
 *
 * @param centreAzimuthDeg  Where the frame looks.
 */
export function spruceShore(seed: string, centreAzimuthDeg: number): Foreground {
  const profileDeg = new Float32Array(PROFILE_COUNT);
  const line = noiseLine(`${seed}/hills`);
  for (let index = 0; index < PROFILE_COUNT; index += 1) {
    const azimuth = index / PROFILE_PER_DEG;
    const hills = 1.5 * noiseAt(line, azimuth / 17) + 0.9 * noiseAt(line, azimuth / 6.1 + 500);
    const forest = 0.35 * noiseAt(line, azimuth * 1.7 + 900) + 0.3 * noiseAt(line, azimuth * 5.3);
    profileDeg[index] = Math.max(0.15, 0.25 + hills * 0.8 + forest);
  }
  plantForest(profileDeg, seed);
  const window = buildHut(profileDeg, centreAzimuthDeg + 19);
  return { profileDeg, shoreDeg: SHORE_DEG, albedo: 0.045, window };
}

/** Far trees everywhere, and groups of near ones that frame the view. */
function plantForest(profileDeg: Float32Array, seed: string): void {
  const random = createRandom(`${seed}/forest`);
  const groups = noiseLine(`${seed}/groups`);
  for (let azimuth = 0; azimuth < 360; azimuth += 0.22 + 0.3 * random.uniform()) {
    const heightDeg = 0.7 + 1.1 * random.uniform();
    plantSpruce(profileDeg, { azimuthDeg: azimuth, heightDeg, jag: random.uniform() });
  }
  for (let azimuth = 0; azimuth < 360; azimuth += 0.5 + 1.3 * random.uniform()) {
    const density = noiseAt(groups, azimuth / 14);
    if (random.uniform() > 1.6 * density - 0.55) continue;
    const heightDeg = 2 + 6.5 * density * random.uniform() ** 1.5;
    plantSpruce(profileDeg, { azimuthDeg: azimuth, heightDeg, jag: random.uniform() });
  }
}

function plantSpruce(
  profileDeg: Float32Array,
  tree: { readonly azimuthDeg: number; readonly heightDeg: number; readonly jag: number },
): void {
  const halfDeg = tree.heightDeg * (0.12 + 0.05 * tree.jag);
  const reach = Math.ceil(halfDeg * PROFILE_PER_DEG);
  const middle = Math.round(tree.azimuthDeg * PROFILE_PER_DEG);
  for (let step = -reach; step <= reach; step += 1) {
    const off = Math.abs(step / PROFILE_PER_DEG) / halfDeg;
    if (off > 1) continue;
    // Whorls of branches make the edge of a spruce ragged.
    const whorl = 0.09 * Math.abs(((off * (7 + 3 * tree.jag) + tree.jag) % 1) - 0.5) * 2;
    const height = tree.heightDeg * Math.max(0, 1 - off ** 0.85 - whorl * off ** 0.5);
    const index = (middle + step + PROFILE_COUNT) % PROFILE_COUNT;
    profileDeg[index] = Math.max(profileDeg[index]!, 0.3 + height);
  }
}

function buildHut(profileDeg: Float32Array, azimuthDeg: number): HutWindow {
  const [halfDeg, wallDeg, ridgeDeg] = [1.25, 0.95, 1.75];
  for (let step = -halfDeg - 0.6; step <= halfDeg + 0.6; step += 1 / PROFILE_PER_DEG) {
    const turned = (azimuthDeg + step + 720) % 360;
    const index = Math.floor(turned * PROFILE_PER_DEG) % PROFILE_COUNT;
    const off = Math.abs(step) / (halfDeg + 0.2);
    const roof = wallDeg + (ridgeDeg - wallDeg) * Math.max(0, 1 - off);
    // A clearing around the hut, so that it stands free of the trees.
    profileDeg[index] = Math.abs(step) <= halfDeg + 0.2 ? roof : Math.min(profileDeg[index]!, 0.6);
  }
  return {
    azimuthDeg: azimuthDeg - 0.45,
    altitudeDeg: 0.42,
    widthDeg: 0.34,
    heightDeg: 0.36,
    luminanceCdM2: 0.35,
  };
}

/** Altitude of the silhouette at an azimuth, degrees; linear between its samples. */
export function silhouetteDeg(foreground: Foreground, azimuthDeg: number): number {
  const at = ((((azimuthDeg % 360) + 360) % 360) * PROFILE_PER_DEG) % PROFILE_COUNT;
  const floor = Math.floor(at);
  const a = foreground.profileDeg[floor]!;
  return a + (foreground.profileDeg[(floor + 1) % PROFILE_COUNT]! - a) * (at - floor);
}

/**
 * Share of light that still water mirrors at a grazing angle (0 along the surface).
 * Source: Schlick's approximation of Fresnel's equations, n = 1.33 (0.02 straight down).
 */
export function waterMirror(grazingDeg: number): number {
  const sine = Math.sin((Math.max(0, grazingDeg) * Math.PI) / 180);
  return 0.02 + 0.98 * (1 - sine) ** 5;
}

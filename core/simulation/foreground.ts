import { sinDeg } from "../sky/angles.ts";
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
const PROFILE_PER_DEG = 60;

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
  for (let azimuth = 0; azimuth < 360; azimuth += 0.16 + 0.3 * random.uniform()) {
    const heightDeg = 0.5 + 1.3 * random.uniform() * noiseAt(groups, azimuth / 5 + 300);
    plantSpruce(profileDeg, { azimuthDeg: azimuth, heightDeg, jag: random.uniform() });
  }
  for (let azimuth = 0; azimuth < 360; azimuth += 0.35 + 0.9 * random.uniform()) {
    const density = noiseAt(groups, azimuth / 11);
    if (random.uniform() > 1.8 * density - 0.6) continue;
    const heightDeg = 1 + 4.6 * density * (0.35 + 0.65 * random.uniform());
    plantSpruce(profileDeg, { azimuthDeg: azimuth, heightDeg, jag: random.uniform() });
  }
}

/** A spruce: a slender cone of drooping whorls, its edge ragged, its crown a spire. */
function plantSpruce(
  profileDeg: Float32Array,
  tree: { readonly azimuthDeg: number; readonly heightDeg: number; readonly jag: number },
): void {
  const halfDeg = tree.heightDeg * (0.17 + 0.07 * tree.jag);
  const reach = Math.ceil(halfDeg * PROFILE_PER_DEG);
  const middle = Math.round(tree.azimuthDeg * PROFILE_PER_DEG);
  const whorls = 6 + 4 * tree.jag;
  for (let step = -reach; step <= reach; step += 1) {
    const off = Math.abs(step / PROFILE_PER_DEG) / halfDeg;
    if (off > 1) continue;
    // Each side's branches lie at heights of their own.
    const turn = off * whorls + tree.jag * (step < 0 ? 3 : 7);
    const notch = (0.3 * (turn - Math.floor(turn))) / (1 + 2 * off);
    const height = tree.heightDeg * Math.max(0, 1 - off ** 0.72 - notch * Math.min(1, 3 * off));
    const index = (middle + step + PROFILE_COUNT) % PROFILE_COUNT;
    profileDeg[index] = Math.max(profileDeg[index]!, 0.3 + height);
  }
}

function buildHut(profileDeg: Float32Array, azimuthDeg: number): HutWindow {
  const [halfDeg, wallDeg, ridgeDeg, clearingDeg] = [1.1, 0.85, 1.6, 2.6];
  const count = Math.ceil(clearingDeg * PROFILE_PER_DEG);
  const middle = Math.round(azimuthDeg * PROFILE_PER_DEG);
  for (let step = -count; step <= count; step += 1) {
    const offDeg = Math.abs(step) / PROFILE_PER_DEG;
    const index = (((middle + step) % PROFILE_COUNT) + PROFILE_COUNT) % PROFILE_COUNT;
    // The eaves reach out over the walls; around the hut is a clearing, so that it stands free.
    const eavesDeg = halfDeg + 0.18;
    const roof = wallDeg + (ridgeDeg - wallDeg) * (1 - offDeg / eavesDeg);
    const chimney = step > 18 && step < 30 ? ridgeDeg + 0.12 : 0;
    const ground = 0.28 + 0.35 * Math.max(0, offDeg - eavesDeg);
    profileDeg[index] =
      offDeg <= eavesDeg ? Math.max(roof, chimney) : Math.min(profileDeg[index]!, ground);
  }
  return {
    azimuthDeg: azimuthDeg - 0.4,
    altitudeDeg: 0.4,
    widthDeg: 0.3,
    heightDeg: 0.34,
    luminanceCdM2: 0.3,
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
  const sine = sinDeg(Math.max(0, grazingDeg));
  return 0.02 + 0.98 * (1 - sine) ** 5;
}

import { Body, DefineStar, Equator, Horizon, MakeTime, Observer } from "astronomy-engine";
import type { Random } from "../../core/random.ts";
import { catalogueStars } from "../../core/sky/starCatalogue.ts";
import { encodeSrgb } from "../../core/photometry/srgb.ts";

/**
 * Photographs of the night sky for the tests of what the stars say: plain, fast and made without the
 * program's own lens model, refraction, projection or renderer, so that the solver is not tested
 * against its own ideas. Only the catalogue is the same.
 */
export type StarPhotograph = {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly rgb: Uint8Array;
  /** Direction that the middle of the picture truly shows. */
  readonly centre: { readonly azimuthDeg: number; readonly altitudeDeg: number };
  readonly pxPerRad: number;
  /** Falls to the right if positive. */
  readonly tiltDeg: number;
  /** Catalogue stars that stand five times over the noise of a pixel and are not hidden. */
  readonly shownCount: number;
};

/** What is photographed and how. */
export type StarScene = {
  readonly utcMs: number;
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly focalLengthMm: number;
  readonly sensorWidthMm: number;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly azimuthDeg: number;
  readonly altitudeDeg: number;
  readonly rollDeg: number;
  /** Radial displacement in terms of sin² and sin⁴ of the angle off the axis; barrel if negative. */
  readonly barrel: readonly [number, number];
  /** Where the lens's axis meets the picture, pixels from its middle. */
  readonly axisPx: readonly [number, number];
  /** Light of the sky, mid-grey 1. */
  readonly sky: number;
  /** Light of a star of magnitude 0, pixels of mid-grey. */
  readonly zeroMagLight: number;
  readonly starFwhmPx: number;
  /** Noise of a pixel at mid-grey. */
  readonly noise: number;
  /** 0 none .. 1 bright curtains over half of the frame. */
  readonly aurora: number;
  /** Share of the sky that clouds hide, 0..1. */
  readonly clouds: number;
  readonly hasMoon: boolean;
  /** Points of light that are no stars. */
  readonly strayCount: number;
};

const RAD = Math.PI / 180;
const MID_GREY = 0.18;

/** Takes the photograph. */
export function photographStars(scene: StarScene, random: Random): StarPhotograph {
  const { widthPx, heightPx } = scene;
  const light = new Float32Array(widthPx * heightPx);
  const project = projectionOf(scene);
  const cloud = cloudsOf(scene, random);
  const horizon = landOf(scene, project);
  const moon = scene.hasMoon
    ? { x: random.uniform() * widthPx, y: random.uniform() * 0.7 * heightPx }
    : null;
  const folds = Array.from({ length: 14 }, () => ({
    x: 0.5 * random.uniform() * widthPx,
    width: (0.004 + 0.02 * random.uniform()) * widthPx,
    bright: random.uniform() ** 2,
  }));
  const auroraLeft = random.uniform() < 0.5 ? 0 : widthPx / 2;
  const columns = new Float32Array(widthPx);
  for (let x = 0; x < widthPx; x += 1) {
    if (scene.aurora === 0 || x < auroraLeft || x >= auroraLeft + widthPx / 2) continue;
    for (const fold of folds) {
      columns[x]! += fold.bright * Math.exp(-(((x - auroraLeft - fold.x) / fold.width) ** 2));
    }
  }
  for (let y = 0; y < heightPx; y += 1) {
    const ray = 0.5 + 0.5 * Math.cos((y / heightPx) * 5);
    for (let x = 0; x < widthPx; x += 1) {
      let value = scene.sky * (1 + 0.4 * (y / heightPx));
      value += scene.aurora * 3 * scene.sky * columns[x]! * ray;
      if (moon !== null) {
        const distance = Math.hypot(x - moon.x, y - moon.y) / widthPx;
        value +=
          distance < 0.006
            ? 40
            : 0.6 * scene.sky * Math.exp(-distance / 0.2) + 0.002 / (distance + 0.01);
      }
      const hidden = cloud(x, y);
      light[y * widthPx + x] = value * (1 + 0.3 * hidden);
    }
  }
  let shownCount = 0;
  const peakShare = 1 / (1.133 * scene.starFwhmPx ** 2);
  for (const star of starsOver(scene)) {
    const point = project(star.azimuthDeg, star.altitudeDeg);
    if (point === null) continue;
    const [x, y] = point;
    if (x < 0 || y < 0 || x >= widthPx || y >= heightPx || y > horizon(x)) continue;
    const through = (1 - cloud(x, y)) ** 2;
    const total = scene.zeroMagLight * 10 ** (-0.4 * star.magnitude) * through;
    const behind = light[Math.floor(y) * widthPx + Math.floor(x)]!;
    if (total * peakShare > 5 * scene.noise * Math.sqrt(behind)) shownCount += 1;
    drawSpot(light, scene, { x, y, total });
  }
  for (let stray = 0; stray < scene.strayCount; stray += 1) {
    const total = scene.zeroMagLight * 10 ** (-0.4 * (1 + 4 * random.uniform()));
    drawSpot(light, scene, {
      x: random.uniform() * widthPx,
      y: random.uniform() * heightPx,
      total,
    });
  }
  const rgb = new Uint8Array(widthPx * heightPx * 3);
  const tint = [0.7, 1, 0.8];
  for (let y = 0; y < heightPx; y += 1) {
    for (let x = 0; x < widthPx; x += 1) {
      const pixel = y * widthPx + x;
      const clean = y > horizon(x) ? 0.03 * scene.sky : light[pixel]!;
      const grain = scene.noise * Math.sqrt(clean) * random.normal();
      for (let channel = 0; channel < 3; channel += 1) {
        const value = clean * tint[channel]! + grain;
        rgb[pixel * 3 + channel] = Math.round(
          255 * encodeSrgb(Math.min(1, Math.max(0, value * MID_GREY))),
        );
      }
    }
  }
  return {
    widthPx,
    heightPx,
    rgb,
    centre: middleOf(scene, project),
    pxPerRad: (scene.focalLengthMm / scene.sensorWidthMm) * widthPx,
    tiltDeg: scene.rollDeg,
    shownCount,
  };
}

type Project = (azimuthDeg: number, altitudeDeg: number) => readonly [number, number] | null;

/** Projection by angles: angle off the axis and position angle, not by vectors and matrices. */
function projectionOf(scene: StarScene): Project {
  const focal = (scene.focalLengthMm / scene.sensorWidthMm) * scene.widthPx;
  const [a, b] = scene.barrel;
  const [sin0, cos0] = [Math.sin(scene.altitudeDeg * RAD), Math.cos(scene.altitudeDeg * RAD)];
  return (azimuthDeg, altitudeDeg) => {
    const turn = (azimuthDeg - scene.azimuthDeg) * RAD;
    const [sin, cos] = [Math.sin(altitudeDeg * RAD), Math.cos(altitudeDeg * RAD)];
    const cosOff = sin0 * sin + cos0 * cos * Math.cos(turn);
    if (cosOff < 0.2) return null;
    const off = Math.acos(Math.min(1, cosOff));
    // Angle from the upward direction, growing to the right.
    const side = Math.atan2(cos * Math.sin(turn), cos0 * sin - sin0 * cos * Math.cos(turn));
    const angle = side + scene.rollDeg * RAD;
    const s = Math.sin(off) ** 2;
    const radius = focal * Math.tan(off) * (1 + a * s + b * s * s);
    return [
      scene.widthPx / 2 + scene.axisPx[0] + radius * Math.sin(angle),
      scene.heightPx / 2 + scene.axisPx[1] - radius * Math.cos(angle),
    ];
  };
}

/** The direction that the middle shows, found by walking toward it. */
function middleOf(scene: StarScene, project: Project) {
  let [azimuthDeg, altitudeDeg] = [scene.azimuthDeg, scene.altitudeDeg];
  const focal = (scene.focalLengthMm / scene.sensorWidthMm) * scene.widthPx;
  for (let step = 0; step < 30; step += 1) {
    const [x, y] = project(azimuthDeg, altitudeDeg)!;
    const [right, up] = [
      (scene.widthPx / 2 - x) / focal / RAD,
      (y - scene.heightPx / 2) / focal / RAD,
    ];
    const roll = scene.rollDeg * RAD;
    azimuthDeg += (right * Math.cos(roll) - up * Math.sin(roll)) / Math.cos(altitudeDeg * RAD);
    altitudeDeg += up * Math.cos(roll) + right * Math.sin(roll);
  }
  return { azimuthDeg: ((azimuthDeg % 360) + 360) % 360, altitudeDeg };
}

/** Apparent places of the stars, star by star through astronomy-engine, lifted by Bennett's refraction. */
function starsOver(scene: StarScene) {
  const time = MakeTime(new Date(scene.utcMs));
  const observer = new Observer(scene.latitudeDeg, scene.longitudeDeg, 0);
  const stars: { azimuthDeg: number; altitudeDeg: number; magnitude: number }[] = [];
  for (const { direction, magnitude, motionPerYear } of brightStars()) {
    const years = (scene.utcMs - Date.UTC(2000, 0, 1, 12)) / (365.25 * 86_400_000);
    const [x, y, z] = direction.map((part, at) => part + years * (motionPerYear?.[at] ?? 0)) as [
      number,
      number,
      number,
    ];
    const hours = (((Math.atan2(y, x) / RAD / 15) % 24) + 24) % 24;
    DefineStar(Body.Star1, hours, Math.atan2(z, Math.hypot(x, y)) / RAD, 1000);
    const { ra, dec } = Equator(Body.Star1, time, observer, true, true);
    const { azimuth, altitude } = Horizon(time, observer, ra, dec);
    if (altitude < 0.3) continue;
    // Extinction of 0.2 magnitudes an airmass.
    const air = 1 / Math.max(0.03, Math.sin(altitude * RAD));
    stars.push({
      azimuthDeg: azimuth,
      altitudeDeg: lifted(altitude),
      magnitude: magnitude + 0.2 * air,
    });
  }
  return stars;
}

let bright: ReturnType<typeof catalogueStars> | null = null;
function brightStars() {
  bright ??= catalogueStars().filter(({ magnitude }) => magnitude < 6);
  return bright;
}

/** Apparent altitude: Bennett 1982 gives the refraction for it, R = cot(h + 7.31/(h + 4.4)) minutes. */
function lifted(trueDeg: number): number {
  let seen = trueDeg;
  for (let step = 0; step < 8; step += 1) {
    seen = trueDeg + 283 / 273 / Math.tan((seen + 7.31 / (seen + 4.4)) * RAD) / 60;
  }
  return seen;
}

function drawSpot(
  light: Float32Array,
  { widthPx, heightPx, starFwhmPx }: StarScene,
  { x, y, total }: { x: number; y: number; total: number },
): void {
  const sigma = starFwhmPx / 2.3548;
  const reach = Math.ceil(4 * sigma);
  for (let row = Math.floor(y) - reach; row <= Math.floor(y) + reach; row += 1) {
    for (let column = Math.floor(x) - reach; column <= Math.floor(x) + reach; column += 1) {
      if (row < 0 || column < 0 || row >= heightPx || column >= widthPx) continue;
      const square = (column + 0.5 - x) ** 2 + (row + 0.5 - y) ** 2;
      light[row * widthPx + column]! +=
        (total / (2 * Math.PI * sigma * sigma)) * Math.exp(-square / (2 * sigma * sigma));
    }
  }
}

/** Soft patches of cloud; 0 clear .. 1 thick. */
function cloudsOf(scene: StarScene, random: Random): (x: number, y: number) => number {
  if (scene.clouds <= 0) return () => 0;
  const waves = Array.from({ length: 6 }, () => ({
    kx: (1 + 4 * random.uniform()) * (random.uniform() < 0.5 ? -1 : 1),
    ky: 1 + 4 * random.uniform(),
    phase: 2 * Math.PI * random.uniform(),
  }));
  return (x, y) => {
    let sum = 0;
    for (const { kx, ky, phase } of waves) {
      sum += Math.sin((kx * x + ky * y) * (4 / scene.widthPx) + phase);
    }
    return Math.min(1, Math.max(0, sum / 3 + 2 * scene.clouds - 0.8));
  };
}

/** Fine enough for every column of the longest lens. */
const LAND_STEP_DEG = 0.008;

/** Row of the land's edge over each column: the level horizon with hills of up to 3°. */
function landOf(scene: StarScene, project: Project): (x: number) => number {
  const rows = new Float32Array(scene.widthPx).fill(scene.heightPx + 1);
  for (let turn = -85; turn <= 85; turn += LAND_STEP_DEG) {
    const hill = 1.5 + Math.sin(turn / 3) + 0.5 * Math.sin(turn * 1.7);
    const point = project(scene.azimuthDeg + turn, hill);
    if (point === null) continue;
    const column = Math.floor(point[0]);
    if (column >= 0 && column < scene.widthPx) rows[column] = Math.min(rows[column]!, point[1]);
  }
  return (x) => rows[Math.max(0, Math.min(scene.widthPx - 1, Math.floor(x)))]!;
}

/** Where the stars of a scene lie in its picture, brightest first, without taking the photograph. */
export function starPointsOf(
  scene: StarScene,
): readonly { readonly x: number; readonly y: number; readonly magnitude: number }[] {
  const project = projectionOf(scene);
  return starsOver(scene)
    .toSorted((a, b) => a.magnitude - b.magnitude)
    .flatMap(({ azimuthDeg, altitudeDeg, magnitude }) => {
      const point = project(azimuthDeg, altitudeDeg);
      if (point === null) return [];
      const [x, y] = point;
      const isInside = x >= 0 && y >= 0 && x < scene.widthPx && y < scene.heightPx;
      return isInside ? [{ x, y, magnitude }] : [];
    });
}

/** The direction that the middle of a scene's picture shows. */
export function centreOf(scene: StarScene): { bearingDeg: number; elevationDeg: number } {
  const { azimuthDeg, altitudeDeg } = middleOf(scene, projectionOf(scene));
  return { bearingDeg: azimuthDeg, elevationDeg: altitudeDeg };
}

import { cpuUsage } from "node:process";
import { lightTable, startToneResponse } from "../../core/photometry/response.ts";
import { findStars } from "../../core/photometry/starWidth.ts";
import { detectionsOf } from "../../core/pointing/detection.ts";
import { solvePointing } from "../../core/pointing/solvePointing.ts";
import { starTable } from "../../core/pointing/starsAbove.ts";
import { createRandom } from "../../core/random.ts";
import { separationDeg } from "../../core/sky/angles.ts";
import { utcMs } from "../../core/units.ts";
import { photographStars, type StarScene } from "../support/starPhotograph.ts";
import { starScene } from "../support/starScenes.ts";
import type { Campaign, CaseOutcome } from "./campaign.ts";

/** One photograph and what the solver made of it. */
export type PointingTrial = {
  readonly seed: string;
  readonly scene: StarScene;
  /** Catalogue stars that show in the photograph. */
  readonly shownCount: number;
  readonly detectionCount: number;
  readonly isSolved: boolean;
  /** Distance of the found centre from the true one; `null`: not solved. */
  readonly centreOffDeg: number | null;
  readonly centreSigmaDeg: number | null;
  readonly scaleOff: number | null;
  readonly tiltOffDeg: number | null;
  readonly rmsPx: number | null;
  readonly matchCount: number;
  readonly detectMs: number;
  readonly solveMs: number;
};

/** Processor time of the program so far: a busy machine must not count. */
function cpuMs(): number {
  const { user, system } = cpuUsage();
  return (user + system) / 1000;
}

/** Farther off than this is a wrong solution, not an inaccurate one. */
export const WRONG_DEG = 0.5;

/** Photographs skies of a seed and solves them, one by one. */
export function* tryPointing(options: {
  readonly count: number;
  readonly seed: string | number;
  readonly changes?: Partial<StarScene>;
  /** False: the focal length is not given. */
  readonly isFocalKnown?: boolean;
}): Generator<PointingTrial> {
  const table = lightTable(startToneResponse());
  const stars = starTable();
  for (let at = 0; at < options.count; at += 1) {
    const seed = `${options.seed}/${at}`;
    const random = createRandom(seed);
    const scene = starScene(random, options.changes);
    const photograph = photographStars(scene, random);
    const begun = cpuMs();
    const field = findStars(photograph, { table, stampRadiusMax: 14 });
    const found = cpuMs();
    const nominal = Math.round(scene.focalLengthMm);
    const place = {
      latitudeDeg: scene.latitudeDeg,
      longitudeDeg: scene.longitudeDeg,
      elevationM: 0,
    };
    const verdict = solvePointing(
      detectionsOf(field),
      { table: stars, place, utcMs: utcMs(scene.utcMs) },
      {
        widthPx: scene.widthPx,
        heightPx: scene.heightPx,
        pxPerRad:
          options.isFocalKnown === false ? null : (nominal / scene.sensorWidthMm) * scene.widthPx,
      },
    );
    const solved = cpuMs();
    const pointing = verdict.kind === "solved" ? verdict.pointing : null;
    const truth = {
      bearingDeg: photograph.centre.azimuthDeg,
      elevationDeg: photograph.centre.altitudeDeg,
    };
    yield {
      seed,
      scene,
      shownCount: photograph.shownCount,
      detectionCount: field.stars.length,
      isSolved: pointing !== null,
      centreOffDeg: pointing && separationDeg(pointing.centre, truth),
      centreSigmaDeg: pointing && pointing.centreSigmaDeg,
      scaleOff: pointing && pointing.pxPerRad / photograph.pxPerRad - 1,
      tiltOffDeg: pointing && pointing.tiltDeg - photograph.tiltDeg,
      rmsPx: pointing && pointing.rmsPx,
      matchCount: pointing?.matches.length ?? 0,
      detectMs: found - begun,
      solveMs: solved - found,
    };
  }
}

/**
 * Photographs of made-up nights, solved from a cold start: none wrong, and the centre within 0.02° and
 * the scale within 0.1 % wherever 20 stars show and the solution calls itself that sure.
 */
export const POINTING: Campaign = {
  unit: "photograph",
  countDefault: 1000,
  unitsPerCase: 20,
  runCase: (seed, count) => Promise.resolve(trySky(seed, count)),
};

function trySky(seed: number, count: number): CaseOutcome {
  const problems: string[] = [];
  const sums: Record<string, number> = {
    "20 stars show": 0,
    "solved of these": 0,
    "centre within 0.02°": 0,
    "scale within 0.1 %": 0,
    "milliseconds of solving": 0,
  };
  for (const trial of tryPointing({ count, seed })) {
    const { centreOffDeg, scaleOff, shownCount } = trial;
    if (centreOffDeg !== null && centreOffDeg > WRONG_DEG) {
      problems.push(`Photograph ${trial.seed} was solved ${centreOffDeg.toFixed(1)}° off.`);
    }
    if (shownCount < 20) continue;
    sums["20 stars show"]! += 1;
    sums["milliseconds of solving"]! += Math.round(trial.solveMs);
    if (centreOffDeg === null || scaleOff === null) continue;
    sums["solved of these"]! += 1;
    if (centreOffDeg <= 0.02) sums["centre within 0.02°"]! += 1;
    if (Math.abs(scaleOff) <= 0.001) sums["scale within 0.1 %"]! += 1;
  }
  return { problems, sums };
}

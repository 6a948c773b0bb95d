import { existsSync, readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import {
  invalid,
  parseCameraProfile,
  parseReleaseProfile,
  parseSensorProfile,
  type FromFile,
} from "../../core/profiles/parse.ts";
import { STANDARD_PROPERTIES } from "../../core/ptp/properties.ts";
import { checkApproved, readApprovals } from "./approvals.ts";
import type { ReleaseProfile } from "../../core/profiles/releaseProfile.ts";
import { checkOverlaps, controlsOf, type CameraProfiles } from "../../core/profiles/resolve.ts";
import type { SensorProfile } from "../../core/profiles/sensorProfile.ts";
import { OWN_DIR } from "../ownFiles.ts";

/** Where the program's own profiles are. */
export const SHIPPED_DIR = join(OWN_DIR, "hardware-profiles");

/** Folder of a user's own profiles inside the data folder. */
export const OWN_FOLDER = "profiles";

/** All that is known of hardware. */
export type HardwareProfiles = {
  readonly cameras: CameraProfiles;
  /** A user's own before the shipped ones; of two with one id the first counts. */
  readonly releases: readonly FromFile<ReleaseProfile>[];
  readonly sensors: readonly FromFile<SensorProfile>[];
};

/**
 * Reads every profile and checks it: a wrong one is reported at the start, not in the middle of a night.
 *
 * @param dataDir  Holds `profiles/{cameras,releases,sensors}` with the user's own; null: none.
 * @throws NightError `profile.invalid` with file, JSON pointer and reason.
 */
export function readProfiles(dataDir: string | null): HardwareProfiles {
  const ownDir = dataDir === null ? null : join(dataDir, OWN_FOLDER);
  const cameras: CameraProfiles = {
    shipped: readFolder(SHIPPED_DIR, "cameras", parseCameraProfile),
    own: ownDir === null ? [] : readFolder(ownDir, "cameras", parseCameraProfile),
    standard: STANDARD_PROPERTIES,
  };
  const approvals = ownDir === null ? {} : readApprovals(ownDir);
  for (const { file, profile } of cameras.own) checkApproved(profile, { file, approvals });
  for (const set of [cameras.shipped, cameras.own]) {
    checkOverlaps(set);
    for (const { profile } of set) controlsOf(profile.id, cameras);
  }
  const both = <P>(kind: string, parse: (unknown: unknown, file: string) => P) => [
    ...(ownDir === null ? [] : readFolder(ownDir, kind, parse)),
    ...readFolder(SHIPPED_DIR, kind, parse),
  ];
  return {
    cameras,
    releases: both("releases", parseReleaseProfile),
    sensors: both("sensors", parseSensorProfile),
  };
}

function readFolder<P>(
  dir: string,
  kind: string,
  parse: (unknown: unknown, file: string) => P,
): readonly FromFile<P>[] {
  const folder = join(dir, kind);
  if (!existsSync(folder)) return [];
  return readdirSync(folder)
    .filter((name) => name.endsWith(".json"))
    .sort()
    .map((name) => {
      const file = join(folder, name);
      return { file, profile: parse(readJson(file), file) };
    });
}

function readJson(file: string): unknown {
  try {
    return JSON.parse(readFileSync(file, "utf8"));
  } catch (thrown) {
    const why = thrown instanceof Error ? thrown.message : String(thrown);
    throw invalid(file, "", `it is not JSON (${why})`);
  }
}

import { daemonWords } from "../../core/words/daemonWords.ts";
import type { FromFile } from "../../core/profiles/parse.ts";
import type { ReleaseProfile } from "../../core/profiles/releaseProfile.ts";
import type { CameraTarget } from "../config.ts";
import { chooseRelease, type ChosenRelease } from "../release/parseRelease.ts";
import { RELEASE_CAUTIONS, releaseLabel, serialCautions } from "../release/releaseTarget.ts";

/**
 * Chooses the release contact, and says what has to be minded before it is touched; null: none was
 * asked for.
 */
export async function openRelease(
  targets: readonly CameraTarget[],
  profiles: readonly FromFile<ReleaseProfile>[],
  print: (line: string) => void,
): Promise<ChosenRelease | null> {
  const asked = targets.find((target) => target.kind === "contact");
  if (!asked) return null;
  const chosen = await chooseRelease(asked.release, profiles);
  print(daemonWords.release.by(releaseLabel(chosen.target)));
  if (asked.side.kind === "folder") print(daemonWords.release.byHand(asked.side.fixedIso));
  const serial = chosen.target.kind === "serial" ? serialCautions(chosen.target) : [];
  for (const caution of [...RELEASE_CAUTIONS, ...serial]) print(caution);
  return chosen;
}

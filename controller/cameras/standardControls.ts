import { readFileSync } from "node:fs";
import { join } from "node:path";
import type { CameraControls } from "../../core/profiles/cameraControls.ts";
import { parseCameraProfile } from "../../core/profiles/parse.ts";
import { controlsOf, STANDARD_PROFILE_ID } from "../../core/profiles/resolve.ts";
import { STANDARD_PROPERTIES } from "../../core/ptp/properties.ts";
import { SHIPPED_DIR } from "../profiles/readProfiles.ts";

export {
  rawOf,
  valueOf,
  type CameraControls,
  type NumberControl,
  type StateControl,
  type ValueCoding,
} from "../../core/profiles/cameraControls.ts";

/** A camera that follows the standard alone, as its hardware profile has it. */
export const STANDARD_CONTROLS: CameraControls = readStandard();

function readStandard(): CameraControls {
  const file = join(SHIPPED_DIR, "cameras", `${STANDARD_PROFILE_ID}.json`);
  const profile = parseCameraProfile(JSON.parse(readFileSync(file, "utf8")), file);
  const shipped = [{ file, profile }];
  return controlsOf(STANDARD_PROFILE_ID, { shipped, own: [], standard: STANDARD_PROPERTIES });
}

import type { Stray } from "../../core/frames/stray.ts";
import type { Catalogue } from "./catalogue.ts";
import { endingOf, keepFrameFile, sha256Of } from "./frameFiles.ts";

/** Inside `frames/`. */
const STRAYS_FOLDER = "strays";

/**
 * Keeps a picture that is no frame's. Its name is its content: the same picture, met again after a
 * break between file and row, is the same file.
 *
 * @param folder  A further camera's own folder; "" for the night's first camera.
 */
export async function keepStray(
  catalogue: Catalogue,
  about: Omit<Stray, "file">,
  bytes: Uint8Array,
): Promise<Stray> {
  const { cameraName } = about.card;
  const name = `${STRAYS_FOLDER}/${sha256Of(bytes).slice(0, 16)}.${endingOf(cameraName)}`;
  const stray = { ...about, file: await keepFrameFile(catalogue.nightDir, name, bytes) };
  catalogue.putStray(stray);
  return stray;
}

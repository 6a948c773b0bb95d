import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { temporaryFolder } from "./temporaryFolder.ts";

const THUMBNAILS = {
  id: "thumbnails",
  label: "thumbnails alone",
  extends: "standard",
  match: [{ model: "Virtual camera", serialNumber: "0000002a" }],
  previews: {
    order: ["thumbnail"],
    wholeJpegBytesMax: 0,
    evidence: "made up for a test",
  },
};

/** A data folder whose nights make do with thumbnails: a profile of the user's own says so. */
export function thumbnailDataDir(): string {
  const dataDir = temporaryFolder();
  const folder = join(dataDir, "profiles", "cameras");
  mkdirSync(folder, { recursive: true });
  writeFileSync(join(folder, "thumbnails.json"), JSON.stringify(THUMBNAILS));
  return dataDir;
}

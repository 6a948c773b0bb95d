import { createHash } from "node:crypto";
import { createReadStream } from "node:fs";
import { join } from "node:path";
import { pipeline } from "node:stream/promises";
import type { Catalogue } from "./catalogue.ts";
import { keptFiles, type FileWork } from "./keptFiles.ts";

type Verification = {
  readonly fileCount: number;
  /** One sentence for each file that is missing or altered, and for a damaged catalogue. */
  readonly problems: readonly string[];
};

/** Reads every kept file of a night and compares its checksum with the catalogue's. */
export async function verifyNight(catalogue: Catalogue, work: FileWork): Promise<Verification> {
  const problems = catalogue
    .integrityProblems()
    .map((line) => `The catalogue is damaged: ${line}.`);
  const files = keptFiles(catalogue, null);
  for (const { path, bytes, sha256: kept } of files) {
    work.signal.throwIfAborted();
    const sha256 = await sha256OfFile(join(catalogue.nightDir, path));
    if (sha256 === null) problems.push(`${path} is missing.`);
    else if (sha256 !== kept) {
      problems.push(`${path} was altered: its SHA-256 is ${sha256}, it was kept as ${kept}.`);
    }
    work.onFile(bytes);
  }
  return { fileCount: files.length, problems };
}

/** Lower-case hexadecimal; null when there is no such file. */
export async function sha256OfFile(path: string): Promise<string | null> {
  const hash = createHash("sha256");
  try {
    await pipeline(createReadStream(path), hash);
  } catch (thrown) {
    if (thrown instanceof Error && "code" in thrown && thrown.code === "ENOENT") return null;
    throw thrown;
  }
  return hash.digest("hex");
}

import { createHash } from "node:crypto";
import { mkdir, readFile, rename, stat } from "node:fs/promises";
import { basename, dirname, extname, join } from "node:path";
import { NightError } from "../../core/errors.ts";
import { flushFolder, writeDurably } from "../durableWrite.ts";
import { archiveError } from "./archiveError.ts";

export const FRAMES_FOLDER = "frames";
/** Where files go that are doubted: never deleted, never in the way. */
const ASIDE_FOLDER = "frames/aside";

/** A file that is whole and flushed. */
export type KeptFile = {
  /** Relative to the night's folder. */
  readonly path: string;
  readonly bytes: number;
  /** Lower-case hexadecimal. */
  readonly sha256: string;
};

/**
 * Name of a frame's file inside `frames/`: the index in six digits, the camera's own ending.
 *
 * @param folder  A further camera's own folder; "" for the night's first camera.
 */
export function frameFileName(frameIndex: number, ending = "jpg", folder = ""): string {
  const name = `${String(frameIndex).padStart(6, "0")}.${ending.toLowerCase()}`;
  return folder === "" ? name : `${folder}/${name}`;
}

/** The camera's own ending in lower case; a JPEG is `.jpg` whatever the camera calls it. */
export function endingOf(cameraName: string): string {
  const ending = extname(cameraName).slice(1).toLowerCase();
  return ending === "" || ending === "jpeg" ? "jpg" : ending;
}

export function sha256Of(bytes: Uint8Array): string {
  return createHash("sha256").update(bytes).digest("hex");
}

/**
 * Keeps a frame's file: written aside, flushed, renamed, its folder flushed. When this resolves the
 * file outlives a power cut; when it rejects nothing carries the name.
 *
 * A different file that already has the name is set aside, never overwritten.
 *
 * @param name  File name inside `frames/`; `folder/name` is allowed.
 * @throws NightError `archive.disk_full`, `archive.read_only`.
 */
export async function keepFrameFile(
  nightDir: string,
  name: string,
  bytes: Uint8Array,
): Promise<KeptFile> {
  const path = `${FRAMES_FOLDER}/${name}`;
  const sha256 = sha256Of(bytes);
  const target = join(nightDir, path);
  try {
    const present = await readIfThere(target);
    if (present !== null) {
      if (sha256Of(present) === sha256) return { path, bytes: bytes.byteLength, sha256 };
      await setAside(nightDir, path);
    }
    if (name.includes("/")) await mkdir(dirname(target), { recursive: true });
    await writeDurably(target, bytes);
    return { path, bytes: bytes.byteLength, sha256 };
  } catch (thrown) {
    throw archiveError(thrown, target);
  }
}

/** Moves a doubted file into `frames/aside/`, under a name that is free. */
export async function setAside(nightDir: string, path: string): Promise<string> {
  const folder = join(nightDir, ASIDE_FOLDER);
  await mkdir(folder, { recursive: true });
  for (let attempt = 0; attempt < 1000; attempt += 1) {
    const suffix = attempt === 0 ? "" : `.${attempt}`;
    const aside = `${ASIDE_FOLDER}/${basename(path)}${suffix}`;
    if (await isThere(join(nightDir, aside))) continue;
    await rename(join(nightDir, path), join(nightDir, aside));
    await flushFolder(folder);
    return aside;
  }
  throw new NightError("archive.read_only", `There is no free name in ${folder}; empty it.`);
}

async function readIfThere(path: string): Promise<Uint8Array | null> {
  try {
    return await readFile(path);
  } catch (thrown) {
    if (thrown instanceof Error && "code" in thrown && thrown.code === "ENOENT") return null;
    throw thrown;
  }
}

async function isThere(path: string): Promise<boolean> {
  return stat(path).then(
    () => true,
    () => false,
  );
}

// A camera body without a protocol: exposes while its release contact is closed, and its files
// arrive in a folder a little later, as a card with radio writes them.
import { renameSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import sharp from "sharp";
import type { ContactMovement } from "./fileRelease.ts";

const LOOK_MS = 20;

export type BodyOnContact = {
  /** Names of the files written so far. */
  readonly files: () => readonly string[];
  readonly stop: () => void;
};

/**
 * @param movements  How the contact has moved so far.
 * @param folder  Where its files arrive.
 * @param iso  What its dial stands at.
 * @param fileMs  How long a file takes to the folder after its frame.
 */
export function startBodyOnContact(
  {
    movements,
    folder,
    iso,
  }: {
    readonly movements: () => readonly ContactMovement[];
    readonly folder: string;
    readonly iso: number;
  },
  fileMs = 0,
): BodyOnContact {
  const files: string[] = [];
  const taken = new Set<number>();
  const look = (): void => {
    const all = movements();
    for (const [index, { word, atMs }] of all.entries()) {
      const next = all[index + 1];
      if (word !== "closed" || next === undefined || taken.has(index)) continue;
      taken.add(index);
      const name = `B${String(files.length + 1).padStart(7, "0")}.JPG`;
      files.push(name);
      void picture((next.atMs - atMs) / 1000, iso).then(async (bytes) => {
        await sleep(fileMs);
        writeFileSync(join(folder, `.${name}.part`), bytes);
        renameSync(join(folder, `.${name}.part`), join(folder, name));
      });
    }
  };
  const timer = setInterval(look, LOOK_MS);
  return { files: () => files, stop: () => clearInterval(timer) };
}

/** A dim, even sky with what a camera writes beside it. */
async function picture(exposureSeconds: number, iso: number): Promise<Buffer> {
  // A body dates a picture by the moment at which its shutter opened; common practice, no source.
  const opened = new Date(Date.now() - exposureSeconds * 1000).toISOString();
  const date = `${opened.slice(0, 10).replaceAll("-", ":")} ${opened.slice(11, 19)}`;
  const level = Math.min(250, Math.round(40 * Math.sqrt(exposureSeconds)));
  const background = { r: level, g: level, b: level };
  return await sharp({ create: { width: 240, height: 160, channels: 3, background } })
    .jpeg()
    .withExif({
      IFD2: {
        DateTimeOriginal: date,
        ExposureTime: `${Math.round(exposureSeconds * 1000)}/1000`,
        PhotographicSensitivity: String(iso),
      },
    })
    .toBuffer();
}

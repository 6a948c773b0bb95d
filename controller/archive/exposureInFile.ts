import exifr from "exifr";
import type { Exposure } from "../../core/exposure/exposure.ts";

/** The exposure that a picture's own Exif tells; null when it tells none. */
export async function exposureInFile(bytes: Uint8Array): Promise<Exposure | null> {
  try {
    const tags = (await exifr.parse(bytes, ["ExposureTime", "ISO", "FNumber"])) as
      { ExposureTime?: number; ISO?: number; FNumber?: number } | undefined;
    const { ExposureTime: exposureSeconds, ISO: iso, FNumber: fNumber } = tags ?? {};
    if (exposureSeconds === undefined || iso === undefined || fNumber === undefined) return null;
    return exposureSeconds > 0 && iso > 0 && fNumber > 0 ? { exposureSeconds, iso, fNumber } : null;
  } catch {
    // A file without readable Exif is still a frame.
    return null;
  }
}

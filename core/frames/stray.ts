import type { FrameFile } from "../watch/frameRecord.ts";
import type { UtcMs } from "../units.ts";
import type { CardEntry } from "./reconcile.ts";

/** A picture of the night that is no frame's by any proof: kept beside the frames, and reported. */
export type Stray = {
  readonly cameraId: string;
  /** As the camera's card lists it. */
  readonly card: CardEntry;
  readonly file: Pick<FrameFile, "path" | "bytes" | "sha256">;
  /** Why it was given to no frame. */
  readonly why: string;
  readonly foundUtcMs: UtcMs;
};

/**
 * Whether this is the same object of the card. Names, handles and lengths come round again, name and
 * date with one of the others do not; of a picture that came as a preview the length is not known.
 */
export function isSameObject(one: CardEntry, other: CardEntry): boolean {
  return (
    one.cameraName === other.cameraName &&
    one.captureDate === other.captureDate &&
    (one.bytes === other.bytes || one.cameraHandle === other.cameraHandle)
  );
}

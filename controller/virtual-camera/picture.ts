import type { Exposure } from "../../core/exposure/exposure.ts";
import type { MonotonicMs, UtcMs } from "../../core/units.ts";

/** One exposed frame, waiting to become a file. */
export type PictureOrder = {
  readonly frameIndex: number;
  /** When the shutter really opened and closed, on the night's clock. */
  readonly openedMs: MonotonicMs;
  readonly closedMs: MonotonicMs;
  /** The opening in true time: what the sky goes by. */
  readonly openedUtcMs: UtcMs;
  /** What really happened, not what was asked for. */
  readonly exposure: Exposure;
  /** What the camera's own clock said at the opening, drift and all, as UTC. */
  readonly cameraUtcMs: UtcMs;
  readonly utcOffsetMinutes: number;
  readonly isManual: boolean;
};

/** The finished file. */
export type Picture = {
  readonly jpeg: Uint8Array;
  readonly thumbnail: Uint8Array;
  readonly widthPx: number;
  readonly heightPx: number;
};

/** The size of every thumbnail, as Exif thumbnails are. Source: DCF 2.0, 160 × 120, from memory. */
export const THUMBNAIL_WIDTH_PX = 160;
export const THUMBNAIL_HEIGHT_PX = 120;

/** Whatever is in front of the lens: turns exposed frames into files, several at once if need be. */
export type PictureSource = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** A guess at a file's size before the first is written, bytes. */
  readonly typicalBytes: number;
  develop(order: PictureOrder): Promise<Picture>;
  close(): Promise<void>;
};

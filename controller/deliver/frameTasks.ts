import type { ExifFields } from "../../core/metadata/exif.ts";
import type { FrameMeasure } from "../../core/frames/frameMeasure.ts";
import type { ToneResponse } from "../../core/photometry/response.ts";

/** A frame's pixels, measured: what the catalogue keeps so that it is done once. */
export type MeasuredFrame = {
  readonly measure: FrameMeasure;
  /** RGB bytes of the picture's middle column, top to bottom. */
  readonly column: Uint8Array;
  readonly thumbnailJpeg: Uint8Array;
};

/** What a frame worker is asked; plain data. */
export type FrameTask =
  | {
      readonly kind: "measure";
      readonly path: string;
      /** What the catalogue says the file's checksum is. */
      readonly sha256: string;
      readonly response: ToneResponse | null;
    }
  | {
      readonly kind: "render";
      readonly path: string;
      readonly outPath: string;
      readonly format: "jpeg" | "tiff16";
      /** null: full size. */
      readonly box: { readonly widthPx: number; readonly heightPx: number } | null;
      readonly gainStops: number;
      readonly response: ToneResponse | null;
      /** Differs from frame to frame, so that the dither does not stand still. */
      readonly ditherSeed: number;
      readonly exif: Omit<ExifFields, "widthPx" | "heightPx" | "thumbnail">;
      readonly xmp: string;
      /** Adds the picture to the worker's star trail. */
      readonly trail: boolean;
    }
  /** Adds a picture that was rendered earlier to the star trail. */
  | { readonly kind: "trail"; readonly path: string }
  | { readonly kind: "takeTrail" };

export type TrailPart = {
  readonly rgb: Uint8Array;
  readonly widthPx: number;
  readonly heightPx: number;
};

export type FrameAnswer =
  | {
      readonly kind: "measured";
      readonly frame: MeasuredFrame;
    }
  | { readonly kind: "altered"; readonly sha256: string }
  | { readonly kind: "absent" }
  | { readonly kind: "unreadable"; readonly sentence: string }
  | { readonly kind: "rendered"; readonly bytes: number }
  | { readonly kind: "added" }
  | { readonly kind: "trailPart"; readonly part: TrailPart | null };

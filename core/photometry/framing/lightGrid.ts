/** A test frame's pixels. */
export type FramePixels = {
  /** Interleaved 8-bit sRGB, rows from the top; widthPx · heightPx · 3. */
  readonly rgb: Uint8Array;
  readonly widthPx: number;
  readonly heightPx: number;
};

/** Mean linear light of the cells of a coarse grid. */
export type LightGrid = {
  readonly columns: number;
  readonly rows: number;
  /** Size of a cell, pixels. */
  readonly cellPx: number;
  /** Relative to white, 0..1; rows from the top. */
  readonly red: Float32Array;
  readonly green: Float32Array;
  readonly luminance: Float32Array;
};

/** The line between sky and land in a frame. */
export type Horizon =
  | {
      readonly kind: "found";
      /** Fall of the line toward the right, degrees; 0 is level. */
      readonly tiltDeg: number;
      /** Height of the line at the frame's middle, 0 the upper edge .. 1 the lower. */
      readonly y: number;
      /** Typical distance of trees and hills from the line, as a share of the frame's height. */
      readonly roughness: number;
      /** First row of land by column of the grid. */
      readonly rows: readonly number[];
    }
  | { readonly kind: "unknown"; readonly why: string };

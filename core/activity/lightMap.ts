/** Linear light of every cell, relative to mid-grey (a neutral code 118 is 1 in every channel). */
export type LightMap = {
  readonly columns: number;
  readonly rows: number;
  readonly red: Float32Array;
  readonly green: Float32Array;
  readonly blue: Float32Array;
  /** Weighted sum of the three: luminance. */
  readonly luminance: Float32Array;
};

/** A moment of the night, every ten minutes. */
export type PlanSample = {
  readonly time: string;
  readonly sunAltitudeDeg: number;
  readonly sunAzimuthDeg: number;
  readonly moonAltitudeDeg: number;
  readonly moonAzimuthDeg: number;
  /** Sky toward the frame's centre, V mag/arcsec²; larger is darker. */
  readonly skyMagArcsec2: number;
  readonly skyLuminanceCdM2: number;
  /** Magnitudes by which moonlight brightens the framed sky, the median over the frame. */
  readonly moonlightMag: number;
};

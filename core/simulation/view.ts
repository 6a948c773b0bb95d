import { directionOf, dot, type Direction } from "../sky/direction.ts";

/** How a rectilinear lens on a level tripod lays the sky onto a picture. */
export type View = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Focal length in pixels: pixels per radian on the axis. */
  readonly pxPerRad: number;
  /** Size of a pixel, µm. */
  readonly pitchUm: number;
  readonly forward: Direction;
  readonly right: Direction;
  readonly upward: Direction;
};

/**
 * The view of a picture of any size: it always shows the whole width of the sensor.
 *
 * @param centre  Of the frame, degrees.
 * Source: central projection.
 */
export function viewOf(options: {
  readonly centre: { readonly azimuthDeg: number; readonly altitudeDeg: number };
  readonly focalLengthMm: number;
  readonly sensorWidthMm: number;
  readonly widthPx: number;
  readonly heightPx: number;
}): View {
  const { centre, focalLengthMm, sensorWidthMm, widthPx, heightPx } = options;
  const pitchMm = sensorWidthMm / widthPx;
  return {
    widthPx,
    heightPx,
    pxPerRad: focalLengthMm / pitchMm,
    pitchUm: pitchMm * 1000,
    forward: directionOf(centre.azimuthDeg, centre.altitudeDeg),
    right: directionOf(centre.azimuthDeg + 90, 0),
    upward: directionOf(centre.azimuthDeg, centre.altitudeDeg + 90),
  };
}

/** Direction seen at a point of the picture; (0, 0) is the upper left corner of the first pixel. */
export function directionAt(view: View, xPx: number, yPx: number): Direction {
  const x = (xPx - view.widthPx / 2) / view.pxPerRad;
  const y = (view.heightPx / 2 - yPx) / view.pxPerRad;
  const length = Math.sqrt(1 + x * x + y * y);
  const { forward, right, upward } = view;
  return [
    (forward[0] + x * right[0] + y * upward[0]) / length,
    (forward[1] + x * right[1] + y * upward[1]) / length,
    (forward[2] + x * right[2] + y * upward[2]) / length,
  ];
}

/** Point of the picture at which a direction is seen; `null` behind the camera. */
export function pointOf(view: View, direction: Direction): readonly [number, number] | null {
  const depth = dot(direction, view.forward);
  if (depth <= 0.05) return null;
  const scale = view.pxPerRad / depth;
  return [
    view.widthPx / 2 + dot(direction, view.right) * scale,
    view.heightPx / 2 - dot(direction, view.upward) * scale,
  ];
}

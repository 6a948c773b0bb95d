/**
 * How a lens lays directions onto the picture: a central projection, bent by four terms along the
 * radius, about an axis that need not meet the picture's middle.
 *
 * A point at distance r from the axis is where a perfect lens would have put it at
 * r (1 + k₁ρ² + k₂ρ⁴ + k₃ρ⁶ + k₄ρ⁸), ρ being r over half the picture's diagonal.
 */
export type LensModel = {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Focal length in pixels: pixels per radian on the axis. */
  readonly pxPerRad: number;
  /** k₁ to k₄; all 0 for a perfect lens, positive k₁ for a barrel. */
  readonly radial: RadialTerms;
  /** Where the axis meets the picture, from its middle, pixels to the right and down. */
  readonly axisPx: readonly [number, number];
};

/** The terms along the radius, k₁ to k₄. */
export type RadialTerms = readonly [number, number, number, number];

/** A lens of which only the focal length is known. */
export function plainLens(options: {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly pxPerRad: number;
}): LensModel {
  return { ...options, radial: [0, 0, 0, 0], axisPx: [0, 0] };
}

/** A direction from the camera: to the right, up and forward; need not be of length 1. */
export type Ray = readonly [right: number, up: number, forward: number];

/** The direction seen at a point of the picture; (0, 0) is the upper left corner of the first pixel. */
export function rayAt(lens: LensModel, xPx: number, yPx: number): Ray {
  const x = xPx - lens.widthPx / 2 - lens.axisPx[0];
  const y = yPx - lens.heightPx / 2 - lens.axisPx[1];
  const straight = straightened(lens, Math.hypot(x, y)) / lens.pxPerRad;
  return [x * straight, -y * straight, 1];
}

/** Where a direction is seen; `null` behind the camera or beyond where the lens's terms make sense. */
export function pointAt(
  lens: LensModel,
  [right, up, forward]: Ray,
): readonly [number, number] | null {
  if (forward <= 0.05 * Math.hypot(right, up)) return null;
  const x = (right / forward) * lens.pxPerRad;
  const y = (-up / forward) * lens.pxPerRad;
  const wanted = Math.hypot(x, y);
  const bent = bentRadius(lens, wanted);
  if (bent === null) return null;
  const share = wanted > 0 ? bent / wanted : 1;
  return [
    lens.widthPx / 2 + lens.axisPx[0] + x * share,
    lens.heightPx / 2 + lens.axisPx[1] + y * share,
  ];
}

/** Half the picture's diagonal, pixels. */
export function halfDiagonalPx(lens: Pick<LensModel, "widthPx" | "heightPx">): number {
  return Math.hypot(lens.widthPx, lens.heightPx) / 2;
}

/** What a radius is multiplied with to come where a perfect lens would have put it. */
function straightened(lens: LensModel, radius: number): number {
  const square = (radius / halfDiagonalPx(lens)) ** 2;
  const [k1, k2, k3, k4] = lens.radial;
  return 1 + square * (k1 + square * (k2 + square * (k3 + square * k4)));
}

/** Newton steps that bring the radius to a thousandth of a pixel. */
const STEPS = 6;

/** The inverse of the radial terms: the radius in the picture of a perfect lens's radius. */
function bentRadius(lens: LensModel, wanted: number): number | null {
  const half = halfDiagonalPx(lens);
  const [k1, k2, k3, k4] = lens.radial;
  if (k1 === 0 && k2 === 0 && k3 === 0 && k4 === 0) return wanted;
  // Beyond the picture the terms mean nothing.
  if (wanted > 2.5 * half) return null;
  let radius = Math.min(wanted, 1.2 * half);
  for (let step = 0; step < STEPS; step += 1) {
    const square = (radius / half) ** 2;
    const slope = 1 + square * (3 * k1 + square * (5 * k2 + square * (7 * k3 + 9 * square * k4)));
    if (slope < 0.2) return null;
    const straight = 1 + square * (k1 + square * (k2 + square * (k3 + square * k4)));
    const next = radius - (radius * straight - wanted) / slope;
    if (Math.abs(next - radius) < 1e-3) return next;
    radius = Math.max(0, next);
  }
  return radius;
}

import { vignetting, type SimulatedLens } from "./lens.ts";
import type { SkyGrid } from "./skyLight.ts";
import type { View } from "./view.ts";

/** Steps of the table over the squared distance from the centre. */
const SHADE_STEPS = 1024;

/** What a lens at an f-number takes away toward the corners of a picture, ready to be looked up. */
export type Shade = {
  /** Light over that in the centre, by squared distance from it. */
  readonly table: Float32Array;
  readonly stepsPerSquare: number;
  readonly middleX: number;
  readonly middleY: number;
};

/** The shade of a lens over a view. */
export function shadeOf(lens: SimulatedLens, fNumber: number, view: View): Shade {
  const [middleX, middleY] = [view.widthPx / 2, view.heightPx / 2];
  const cornerMm = Math.hypot(middleX, middleY) * (view.pitchUm / 1000);
  return {
    table: Float32Array.from({ length: SHADE_STEPS + 1 }, (_, index) =>
      vignetting(lens, fNumber, cornerMm * Math.sqrt(index / SHADE_STEPS)),
    ),
    stepsPerSquare: SHADE_STEPS / (middleX * middleX + middleY * middleY),
    middleX,
    middleY,
  };
}

/** Share of the light that arrives at a point of the picture, 0..1. */
export function shadeAt(shade: Shade, xPx: number, yPx: number): number {
  const [dx, dy] = [xPx - shade.middleX, yPx - shade.middleY];
  const step = ((dx * dx + dy * dy) * shade.stepsPerSquare) | 0;
  return shade.table[step < SHADE_STEPS ? step : SHADE_STEPS]!;
}

/** The shade at every point of a grid. */
export function gridShade(shade: Shade, { columns, rows, stepPx }: SkyGrid): Float32Array {
  const shares = new Float32Array(columns * rows);
  for (let row = 0; row < rows; row += 1) {
    for (let column = 0; column < columns; column += 1) {
      shares[row * columns + column] = shadeAt(shade, column * stepPx, row * stepPx);
    }
  }
  return shares;
}

import type { FrameGeometry } from "./frameGeometry.ts";
import { grainTable } from "./noise.ts";
import type { SimulatedSky } from "./simulatedSky.ts";
import { toneTable, type ToneCurve } from "./toneCurve.ts";

/**
 * What a renderer works out once and uses in every frame; the caller that renders many frames keeps it and
 * hands it in. The picture is the same with a fresh one: preparing it takes longer than a frame.
 */
export type RenderMemory = {
  readonly grain: Float32Array;
  readonly tones: Map<ToneCurve, Uint8Array>;
  readonly geometries: KnownGeometry[];
};

type KnownGeometry = {
  readonly sky: SimulatedSky;
  readonly key: string;
  readonly geometry: FrameGeometry;
};

/** Geometries kept: a preview and a few sizes besides. */
const GEOMETRIES_MAX = 3;

export function createRenderMemory(): RenderMemory {
  return { grain: grainTable(), tones: new Map(), geometries: [] };
}

/** The table of a tone curve; making one costs a hundredth of a frame. */
export function tonesIn({ tones }: RenderMemory, curve: ToneCurve): Uint8Array {
  const table = tones.get(curve) ?? toneTable(curve);
  tones.set(curve, table);
  return table;
}

/** The geometry of a sky's pictures that goes by this key, worked out the first time. */
export function geometryIn(
  { geometries }: RenderMemory,
  sky: SimulatedSky,
  key: string,
  workOut: () => FrameGeometry,
): FrameGeometry {
  const known = geometries.find((one) => one.sky === sky && one.key === key);
  if (known !== undefined) return known.geometry;
  const geometry = workOut();
  if (geometries.length >= GEOMETRIES_MAX) geometries.shift();
  geometries.push({ sky, key, geometry });
  return geometry;
}

import type { Exposure } from "../../core/exposure/exposure.ts";

/** Stops by which `to` records a scene brighter than `from`. */
export function stopsBetween(from: Exposure, to: Exposure): number {
  return Math.log2(
    (to.exposureSeconds * to.iso * from.fNumber ** 2) /
      (from.exposureSeconds * from.iso * to.fNumber ** 2),
  );
}

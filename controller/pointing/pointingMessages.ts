import type { FramingStars } from "../../core/pointing/framingStars.ts";
import type { GivenOptics } from "../../core/photometry/optics.ts";
import type { Place } from "../../core/sky/place.ts";
import type { UtcMs } from "../../core/units.ts";

/** What the stars' thread is asked for one frame. */
export type PointingJob = {
  readonly jpeg: Uint8Array;
  readonly place: Place;
  /** The middle of the exposure. */
  readonly utcMs: UtcMs;
  readonly optics: GivenOptics;
};

/** What it answers. */
export type PointingReport =
  | { readonly kind: "done"; readonly stars: FramingStars }
  | { readonly kind: "failed"; readonly sentence: string };

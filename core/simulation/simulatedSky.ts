import type { UtcMs } from "../units.ts";
import type { SkyScenario } from "./auroraCourse.ts";
import type { Aurora } from "./auroraLight.ts";
import type { ClearSky } from "./clearSky.ts";
import type { CloudLayer } from "./clouds.ts";
import type { Rgb } from "./colour.ts";
import type { Foreground } from "./foreground.ts";
import type { DriftingPattern } from "./pattern.ts";
import type { SkyStar } from "./stars.ts";

/** Where a simulated camera stands and looks. */
export type SkyPlace = {
  /** Geodetic, north positive. */
  readonly latitudeDeg: number;
  /** East positive. */
  readonly longitudeDeg: number;
  /** Centre of the frame: from north through east, and above the level horizon. */
  readonly azimuthDeg: number;
  readonly altitudeDeg: number;
};

/**
 * A simulated night: an immutable description. Everything seen of it is a pure function of it and
 * of time; `null` parts are not there.
 */
export type SimulatedSky = {
  readonly seed: string;
  readonly place: SkyPlace;
  readonly startUtcMs: UtcMs;
  readonly durationSeconds: number;
  readonly scenario: SkyScenario | "scene";
  readonly clear: ClearSky | null;
  /** What the filters see of a light that is the same everywhere, cd/m². */
  readonly even: Rgb | null;
  readonly stars: readonly SkyStar[];
  readonly aurora: Aurora | null;
  readonly clouds: CloudLayer | null;
  readonly pattern: DriftingPattern | null;
  readonly foreground: Foreground | null;
  /** Noise for the Milky Way's clouds. */
  readonly mottle: Float32Array;
};

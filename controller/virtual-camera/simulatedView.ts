import type { SimulatedLens, ToneCurveName } from "../../core/simulation/render.ts";
import type { SkyPlace, SkyStory } from "../../core/simulation/sky.ts";
import type { UtcMs } from "../../core/units.ts";
import type { CameraIdentity } from "./virtualCamera.ts";

/** What the camera looks at and through, as plain data for the picture thread. */
export type SimulatedView = {
  readonly seed: string;
  readonly place: SkyPlace;
  /** When the story begins, true time. */
  readonly storyStartUtcMs: UtcMs;
  readonly storySeconds: number;
  readonly story: SkyStory;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly lens: SimulatedLens;
  /** The camera's rendering; no host is told which. */
  readonly toneCurve: ToneCurveName;
  readonly identity: CameraIdentity;
};

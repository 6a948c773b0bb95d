import type { SimulatedLens, ToneCurveName } from "../../core/simulation/render.ts";
import type { SkyPlace, SkyScenario } from "../../core/simulation/sky.ts";
import type { UtcMs } from "../../core/units.ts";
import type { CameraIdentity } from "./virtualCamera.ts";

/** What the camera looks at and through, as plain data for the picture thread. */
export type SimulatedView = {
  readonly seed: string;
  readonly place: SkyPlace;
  /** When the scenario begins, true time. */
  readonly scenarioStartUtcMs: UtcMs;
  readonly scenarioSeconds: number;
  readonly scenario: SkyScenario;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly lens: SimulatedLens;
  /** The camera's rendering; no host learns which. */
  readonly toneCurve: ToneCurveName;
  readonly identity: CameraIdentity;
};

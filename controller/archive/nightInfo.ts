import type { UtcMs } from "../../core/units.ts";

/** What is fixed about a night when its folder is made; kept in `night.json` and in the catalogue. */
export type NightInfo = {
  readonly name: string;
  readonly startUtcMs: UtcMs;
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  /** Above the sea; left out: not known. */
  readonly elevationM?: number;
  readonly placeName: string;
  /** True for a night against the simulated sky. */
  readonly isRehearsal: boolean;
};

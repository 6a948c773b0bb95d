import type { LightBand } from "../../../core/plan/nightLight.ts";
import type { PlanSample } from "../../../core/plan/samples.ts";
import { lightOf } from "../../../core/sky/light.ts";

/** The night's stretches of equal light, in order. */
export function lightBands(samples: readonly PlanSample[]): readonly LightBand[] {
  const bands: LightBand[] = [];
  for (const { time, sunAltitudeDeg } of samples) {
    const light = lightOf(sunAltitudeDeg);
    const atUtcMs = Date.parse(time);
    const last = bands.at(-1);
    if (last) bands[bands.length - 1] = { ...last, endUtcMs: atUtcMs };
    if (last?.light !== light) bands.push({ light, startUtcMs: atUtcMs, endUtcMs: atUtcMs });
  }
  return bands;
}

/** Around the Sun's absence where it sets, an hour on either side; else all that was searched. */
export function arcStretch(plan: {
  readonly sunset: string | null;
  readonly sunrise: string | null;
  readonly searchStart: string;
  readonly searchEnd: string;
}): { startUtcMs: number; endUtcMs: number } {
  const HOUR_MS = 3_600_000;
  const from = Date.parse(plan.searchStart);
  const to = Date.parse(plan.searchEnd);
  return {
    startUtcMs: plan.sunset === null ? from : Math.max(from, Date.parse(plan.sunset) - HOUR_MS),
    endUtcMs: plan.sunrise === null ? to : Math.min(to, Date.parse(plan.sunrise) + HOUR_MS),
  };
}

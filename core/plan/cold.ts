import { NightError } from "../errors.ts";
import { clearLensC, dewPointC, frostPointC } from "../sky/dewPoint.ts";
import { frostbiteAt, windChillC, type Frostbite } from "../sky/windChill.ts";

/** What the expected air does to people and glass. */
export type PlanCold = {
  readonly temperatureC: number;
  /** True when no temperature was given and the usual one stands in. */
  readonly isAssumed: boolean;
  readonly windKmh: number | null;
  readonly humidityPercent: number | null;
  /** `null` when no wind was given. */
  readonly windChillC: number | null;
  readonly frostbite: Frostbite;
  readonly dewPointC: number | null;
  readonly frostPointC: number | null;
  /** True when open glass, which radiates below the air's temperature, is likely to fog or freeze. */
  readonly lensWillFog: boolean | null;
  readonly sentence: string;
};

/** Open glass under a clear sky stands this far below the air. Common practice, no source: 1 to 3 K. */
const GLASS_BELOW_AIR_K = 3;

/** Expected temperature when none is given, °C. Common practice, no source: a winter night. */
const USUAL_TEMPERATURE_C = -10;

/**
 * Wind chill, frostbite, dew and frost point of the expected air.
 *
 * @throws NightError `settings.invalid` for numbers that no weather brings.
 */
export function coldOf(air: {
  readonly temperatureC?: number;
  readonly windKmh?: number;
  readonly humidityPercent?: number;
}): PlanCold {
  const temperatureC = air.temperatureC ?? USUAL_TEMPERATURE_C;
  const isAssumed = air.temperatureC === undefined;
  const windKmh = air.windKmh ?? null;
  const humidityPercent = air.humidityPercent ?? null;
  check("The temperature", temperatureC, { from: -80, to: 50, unit: "°C" });
  if (windKmh !== null) check("The wind", windKmh, { from: 0, to: 300, unit: "km/h" });
  if (humidityPercent !== null) {
    check("The humidity", humidityPercent, { from: 1, to: 100, unit: "percent" });
  }
  const chillC = windKmh === null ? null : windChillC(temperatureC, windKmh);
  const frostbite = frostbiteAt(chillC ?? temperatureC);
  const lensWillFog =
    humidityPercent === null
      ? null
      : temperatureC - GLASS_BELOW_AIR_K <= clearLensC(temperatureC, humidityPercent);
  return {
    temperatureC,
    isAssumed,
    windKmh,
    humidityPercent,
    windChillC: chillC,
    frostbite,
    dewPointC: humidityPercent === null ? null : dewPointC(temperatureC, humidityPercent),
    frostPointC: humidityPercent === null ? null : frostPointC(temperatureC, humidityPercent),
    lensWillFog,
    sentence: sentenceOf({ temperatureC, isAssumed, chillC, frostbite, lensWillFog }),
  };
}

function sentenceOf(air: {
  readonly temperatureC: number;
  readonly isAssumed: boolean;
  readonly chillC: number | null;
  readonly frostbite: Frostbite;
  readonly lensWillFog: boolean | null;
}): string {
  const { temperatureC, chillC, frostbite, lensWillFog } = air;
  const feels =
    chillC !== null && Math.round(chillC) < Math.round(temperatureC)
      ? `, ${degrees(chillC)} with the wind`
      : "";
  const skin =
    frostbite.minutes === null
      ? ""
      : ` Bare skin may freeze within ${frostbite.minutes[0] || "less than 2"}${
          frostbite.minutes[0] ? ` to ${frostbite.minutes[1]}` : ""
        } minutes.`;
  const glass = lensWillFog ? " Expect frost or dew on open glass: run the lens heater." : "";
  const assumed = air.isAssumed ? " assumed" : "";
  return `${degrees(temperatureC)}${assumed}${feels}.${skin}${glass}`;
}

function degrees(temperatureC: number): string {
  return `${temperatureC < -0.5 ? "−" : ""}${Math.round(Math.abs(temperatureC))} °C`;
}

function check(
  what: string,
  value: number,
  { from, to, unit }: { from: number; to: number; unit: string },
): void {
  if (Number.isFinite(value) && value >= from && value <= to) return;
  throw new NightError(
    "settings.invalid",
    `${what} must be from ${from} to ${to} ${unit}, not ${value}.`,
  );
}

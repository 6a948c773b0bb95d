/** Coefficients of a Magnus formula over water or ice. */
type Magnus = { readonly a: number; readonly b: number };

/** Over liquid water. Source: Alduchov and Eskridge 1996, J. Appl. Meteor. 35:601. */
const OVER_WATER: Magnus = { a: 17.625, b: 243.04 };

/** Over ice. Source: same paper (from memory). */
const OVER_ICE: Magnus = { a: 22.587, b: 273.86 };

/** Pressure of saturation at 0 °C, hPa, over water and over ice. Source: same paper. */
const SATURATION_AT_ZERO_HPA = { water: 6.1094, ice: 6.1121 } as const;

/**
 * Temperature (°C) at which dew would form.
 *
 * @param temperatureC  Of the air, −80..60.
 * @param humidityPercent  Relative humidity over water, also below freezing (the convention of
 *   weather services), > 0..100.
 * Source: Alduchov and Eskridge 1996.
 */
export function dewPointC(temperatureC: number, humidityPercent: number): number {
  const gamma =
    Math.log(humidityPercent / 100) + (OVER_WATER.a * temperatureC) / (OVER_WATER.b + temperatureC);
  return (OVER_WATER.b * gamma) / (OVER_WATER.a - gamma);
}

/**
 * Temperature (°C) at which frost would form: above the dew point when below freezing, so below
 * 0 °C it is the one that counts. Parameters as for `dewPointC`.
 */
export function frostPointC(temperatureC: number, humidityPercent: number): number {
  const vapourHpa =
    SATURATION_AT_ZERO_HPA.water *
    (humidityPercent / 100) *
    Math.exp((OVER_WATER.a * temperatureC) / (OVER_WATER.b + temperatureC));
  const gamma = Math.log(vapourHpa / SATURATION_AT_ZERO_HPA.ice);
  return (OVER_ICE.b * gamma) / (OVER_ICE.a - gamma);
}

/** Temperature (°C) a surface must stay above to remain clear: the frost point in frost, else the dew point. */
export function clearLensC(temperatureC: number, humidityPercent: number): number {
  const dew = dewPointC(temperatureC, humidityPercent);
  return dew < 0 ? frostPointC(temperatureC, humidityPercent) : dew;
}

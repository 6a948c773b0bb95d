/** How fast bare skin freezes. */
export type Frostbite = {
  readonly risk: "low" | "rising" | "high" | "severe" | "extreme";
  /** Minutes until bare skin may freeze; `null`: low risk. */
  readonly minutes: readonly [number, number] | null;
};

/** The formula of 2001 holds for wind from 5 km/h at 10 m and air at or below 10 °C. */
const WIND_MIN_KMH = 5;
const TEMPERATURE_MAX_C = 10;

/**
 * Wind chill, °C: 13.12 + 0.6215 T − 11.37 V^0.16 + 0.3965 T V^0.16; in less wind than 5 km/h
 * T + (−1.59 + 0.1345 T) V / 5, which meets it there.
 *
 * @param windKmh  At 10 m above the ground.
 * @returns The air's own temperature where it is warmer than 10 °C.
 * Sources: JAG/TI 2001; Osczevski and Bluestein 2005, Bull. Amer. Meteor. Soc. 86:1453; the low wind's
 * rule by Environment Canada (from memory).
 */
export function windChillC(temperatureC: number, windKmh: number): number {
  if (temperatureC > TEMPERATURE_MAX_C) return temperatureC;
  if (windKmh < WIND_MIN_KMH) {
    return temperatureC + ((-1.59 + 0.1345 * temperatureC) * windKmh) / WIND_MIN_KMH;
  }
  const wind = windKmh ** 0.16;
  return 13.12 + 0.6215 * temperatureC - 11.37 * wind + 0.3965 * temperatureC * wind;
}

/** Minutes to frostbite by rounded wind chill. Source: Environment Canada, wind chill hazards. */
const FROSTBITE: readonly { readonly downToC: number; readonly frostbite: Frostbite }[] = [
  { downToC: -27, frostbite: { risk: "low", minutes: null } },
  { downToC: -39, frostbite: { risk: "rising", minutes: [10, 30] } },
  { downToC: -47, frostbite: { risk: "high", minutes: [5, 10] } },
  { downToC: -54, frostbite: { risk: "severe", minutes: [2, 5] } },
];

/**
 * Risk of frostbite at a wind chill, °C, rounded to whole degrees as the table is; faster still in
 * wind above 50 km/h.
 */
export function frostbiteAt(chillC: number): Frostbite {
  const rounded = Math.round(chillC);
  const row = FROSTBITE.find(({ downToC }) => rounded >= downToC);
  return row?.frostbite ?? { risk: "extreme", minutes: [0, 2] };
}

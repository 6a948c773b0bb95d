/** How light the Sun makes the sky, from the lightest to the darkest. */
export const LIGHTS = ["day", "civil", "nautical", "astronomical", "dark"] as const;

/** How much of the day is left: one of `LIGHTS`. */
export type Light = (typeof LIGHTS)[number];

/** Whether eyes out there are getting used to the dark; "unknown": no place is known. */
export const OUTSIDE = ["dark", "light", "unknown"] as const;
export type Outside = (typeof OUTSIDE)[number];

/**
 * Altitudes of the Sun's centre, degrees, at which one light gives way to the next: sunset with 34′
 * of refraction and the Sun's half width of 16′, then the three twilights 6° apart.
 * Source: the definitions of sunset and twilight, as in any almanac's explanation.
 */
export const LIGHT_LIMITS_DEG = [-0.833, -6, -12, -18] as const;

/** The light under a Sun at this altitude. */
export function lightOf(sunAltitudeDeg: number): Light {
  const passed = LIGHT_LIMITS_DEG.filter((limitDeg) => sunAltitudeDeg <= limitDeg).length;
  return LIGHTS[passed]!;
}

/**
 * Night sky that is contained in the twilight polynomial, V mag/arcsec² at the zenith.
 * Source: Patat 2003, A&A 400:1183, dark zenith at solar maximum.
 */
const PATAT_NIGHT_SKY_MAG = 21.6;

/** Range of the polynomial: altitude of the Sun, degrees. */
const BRIGHTEST_ALTITUDE_DEG = -5;
const DARKEST_ALTITUDE_DEG = -15;

/** The Sun's altitude at which no twilight is left: the definition of astronomical darkness. */
const NO_TWILIGHT_ALTITUDE_DEG = -18;

/**
 * Clear sky at the zenith by day, V mag/arcsec² for the Sun's altitude. Joins the twilight to the
 * day so that the curve is whole; no exposure is built on it.
 * Source: horizontal illuminance of the Explanatory Supplement to the Astronomical Almanac spread
 * evenly over the sky (730 lx at 0°), and a few thousand cd/m² by full day; from memory, unconfirmed.
 */
const DAY_ZENITH_MAG: readonly (readonly [altitudeDeg: number, mag: number])[] = [
  [0, 6.7],
  [5, 5.1],
  [15, 4],
  [90, 3.2],
];

/**
 * Brightness of the zenith in twilight, the night sky included, V mag/arcsec² as measured at
 * 2635 m: 11.84 + 1.518 x − 0.057 x², x = the Sun's zenith distance less 95°, for 0 ≤ x ≤ 10.
 *
 * @param sunAltitudeDeg  Airless altitude; a value outside −15..−5 counts as the nearer end.
 * Source: Patat, Ugolnikov and Postylyakov 2006, A&A 455:385, table 1 (rms 0.18 mag).
 */
export function twilightZenithMag(sunAltitudeDeg: number): number {
  const altitude = Math.min(BRIGHTEST_ALTITUDE_DEG, Math.max(DARKEST_ALTITUDE_DEG, sunAltitudeDeg));
  const x = -altitude - 5;
  return 11.84 + 1.518 * x - 0.057 * x * x;
}

/**
 * Twilight at the zenith without the night sky, as 10^(−0.4 mag) of V mag/arcsec²; 0 once the Sun
 * is below −18°. Below −15°, where the polynomial ends, it fades out in proportion to the
 * remaining degrees, squared; above −5° it runs on into the day along a rough table.
 *
 * @param elevationM  Of the place. At sea level twilight is about 30 % brighter than where it was
 *   measured (same paper, abstract); between the two heights the excess is taken in proportion.
 */
export function twilightFlux(sunAltitudeDeg: number, elevationM: number): number {
  if (sunAltitudeDeg <= NO_TWILIGHT_ALTITUDE_DEG) return 0;
  const air = 1 + 0.3 * Math.min(1, Math.max(0, 1 - elevationM / 2635));
  if (sunAltitudeDeg > BRIGHTEST_ALTITUDE_DEG) {
    return air * 10 ** (-0.4 * dayZenithMag(sunAltitudeDeg));
  }
  const night = 10 ** (-0.4 * PATAT_NIGHT_SKY_MAG);
  const measured = 10 ** (-0.4 * twilightZenithMag(sunAltitudeDeg)) - night;
  const left = sunAltitudeDeg - NO_TWILIGHT_ALTITUDE_DEG;
  const range = DARKEST_ALTITUDE_DEG - NO_TWILIGHT_ALTITUDE_DEG;
  return air * measured * Math.min(1, left / range) ** 2;
}

function dayZenithMag(sunAltitudeDeg: number): number {
  let [lowAltitude, lowMag] = [BRIGHTEST_ALTITUDE_DEG, twilightZenithMag(BRIGHTEST_ALTITUDE_DEG)];
  for (const [altitude, mag] of DAY_ZENITH_MAG) {
    if (sunAltitudeDeg <= altitude) {
      const share = (sunAltitudeDeg - lowAltitude) / (altitude - lowAltitude);
      return lowMag + share * (mag - lowMag);
    }
    [lowAltitude, lowMag] = [altitude, mag];
  }
  return lowMag;
}

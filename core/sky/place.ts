import { NightError } from "../errors.ts";

/** A place on Earth where a night is spent. */
export type Place = {
  /** Geodetic latitude, degrees, north positive, −90..90. */
  readonly latitudeDeg: number;
  /** Longitude, degrees, east positive, −180..180. */
  readonly longitudeDeg: number;
  /** Height above the sea, metres. */
  readonly elevationM: number;
};

/**
 * A place from plain numbers.
 *
 * @throws NightError `settings.invalid` with one sentence when a number is missing or off the globe.
 */
export function placeOf(numbers: {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly elevationM?: number;
}): Place {
  const { latitudeDeg, longitudeDeg, elevationM = 0 } = numbers;
  within("Latitude", latitudeDeg, { min: -90, max: 90, unit: "degrees, south negative" });
  within("Longitude", longitudeDeg, { min: -180, max: 180, unit: "degrees, west negative" });
  within("Height above the sea", elevationM, { min: -500, max: 9000, unit: "metres" });
  // A minus zero counts as zero, so that a place is the same after a round through JSON.
  return { latitudeDeg: latitudeDeg + 0, longitudeDeg: longitudeDeg + 0, elevationM };
}

function within(
  name: string,
  value: number,
  range: { readonly min: number; readonly max: number; readonly unit: string },
): void {
  if (Number.isFinite(value) && value >= range.min && value <= range.max) return;
  throw new NightError(
    "settings.invalid",
    `${name} must be from ${range.min} to ${range.max} ${range.unit}, not ${value}.`,
    { value },
  );
}

/** Whether a night knows its place: 0, 0 stands for one that was not given. */
export function isPlaced(place: Pick<Place, "latitudeDeg" | "longitudeDeg">): boolean {
  return place.latitudeDeg !== 0 || place.longitudeDeg !== 0;
}

import { isPlaced, placeOf, type Place } from "../../core/sky/place.ts";
import type { StartOptions } from "../config.ts";
import type { SensedPlace } from "../sensors/sensorDesk.ts";
import type { OpenNight } from "./openNight.ts";

/** Where the night is: given by hand, the demo's own, or told by a receiver, perhaps while it runs. */
export class NightPlace {
  readonly #night: Pick<OpenNight, "catalogue" | "info"> | null;
  #place: Place | null;

  constructor(
    options: Pick<StartOptions, "elevation-m">,
    night: Pick<OpenNight, "catalogue" | "info"> | null,
  ) {
    this.#night = night;
    const { "elevation-m": elevationM } = options;
    this.#place = night && isPlaced(night.info) ? placeOf({ ...night.info, elevationM }) : null;
  }

  /** Null: not known yet. */
  get place(): Place | null {
    return this.#place;
  }

  /** A receiver tells where it is. @returns whether the night learns its place by that. */
  learn({ latitudeDeg, longitudeDeg, elevationM }: SensedPlace): boolean {
    if (this.#night === null || this.#place !== null) return false;
    this.#place = placeOf({ latitudeDeg, longitudeDeg, elevationM: elevationM ?? 0 });
    const placeName = placeNameOf(latitudeDeg, longitudeDeg);
    const { catalogue, info } = this.#night;
    catalogue.setState("night", { ...info, latitudeDeg, longitudeDeg, placeName });
    return true;
  }
}

/** A place without a name of its own. */
export function placeNameOf(latitudeDeg: number, longitudeDeg: number): string {
  return `${latitudeDeg.toFixed(2)}, ${longitudeDeg.toFixed(2)}`;
}

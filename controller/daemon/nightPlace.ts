import { isPlaced, placeOf, type Place } from "../../core/sky/place.ts";
import type { StartOptions } from "../config.ts";
import type { SensedPlace } from "../sensors/sensors.ts";
import type { OpenNight } from "./openNight.ts";
import { placeNameOf } from "./startOrder.ts";

/** Where the night is: given by hand, the demo's own, or reported by a receiver, perhaps while it runs. */
export class NightPlace {
  readonly #night: Pick<OpenNight, "catalogue" | "info"> | null;
  #place: Place | null;

  constructor(
    options: Pick<StartOptions, "elevation-m">,
    night: Pick<OpenNight, "catalogue" | "info"> | null,
  ) {
    this.#night = night;
    if (night === null || !isPlaced(night.info)) this.#place = null;
    else {
      // A night that goes on may have begun without the height that is given now.
      const elevationM = night.info.elevationM ?? options["elevation-m"] ?? 0;
      this.#place = placeOf({ ...night.info, elevationM });
    }
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
    const height = elevationM === null ? {} : { elevationM };
    catalogue.setState("night", { ...info, latitudeDeg, longitudeDeg, ...height, placeName });
    return true;
  }
}

import { daemonWords } from "../../core/words/daemonWords.ts";
import { utcMs } from "../../core/units.ts";
import type { StartOptions } from "../config.ts";
import type { HardwareProfiles } from "../profiles/readProfiles.ts";
import { SensorHub } from "../sensors/sensors.ts";
import { sensorTargets } from "../sensors/sensorTarget.ts";

/** A receiver under the open sky knows its place within seconds; one under a roof may never. */
const PLACE_MS_MAX = 15_000;

/** Opens the sensors that were asked for; each may vanish and come back. */
export function openSensors(
  options: StartOptions,
  profiles: HardwareProfiles["sensors"],
  print: (line: string) => void,
): SensorHub {
  return new SensorHub({
    targets: sensorTargets(options, profiles),
    nowUtcMs: () => utcMs(Date.now()),
    print,
  });
}

/** The options with the place that a GNSS receiver gives, where none was given by hand. */
export async function placedBySensor(
  options: StartOptions,
  sensors: SensorHub,
  print: (line: string) => void,
): Promise<StartOptions> {
  if (options.gnss === null || options.lat !== null) return options;
  print(daemonWords.gnss.waiting);
  const place = await sensors.firstPlace(PLACE_MS_MAX);
  if (place === null) {
    print(daemonWords.gnss.noPlace);
    return options;
  }
  const { latitudeDeg: lat, longitudeDeg: lon } = place;
  print(daemonWords.gnss.place(lat.toFixed(4), lon.toFixed(4)));
  return { ...options, lat, lon, "elevation-m": place.elevationM ?? options["elevation-m"] };
}

import { resolve } from "node:path";

import type { PlanQuery, RememberedPlace } from "../../core/api/planMessages.ts";
import { NightError } from "../../core/errors.ts";
import { utcMs } from "../../core/units.ts";
import type { OptionValues } from "../commandLine.ts";
import type { PLAN_COMMAND } from "./planCommand.ts";

type PlaceOptions = Pick<
  OptionValues<(typeof PLAN_COMMAND)["options"]>,
  "lat" | "lon" | "gnss" | "place" | "data"
>;

type PlanPlace = Pick<PlanQuery, "latitudeDeg" | "longitudeDeg" | "elevationM" | "placeName">;

/** A receiver under the open sky knows its place within seconds; one under a roof may never. */
const PLACE_MS_MAX = 15_000;

/**
 * The place of a plan on the command line: typed, said by a GNSS receiver, or remembered.
 *
 * @throws NightError `usage.invalid` where the options name no place or two; `sensor.gone` for a
 *   receiver that knows none.
 */
export async function commandPlace(
  options: PlaceOptions,
  places: readonly RememberedPlace[],
): Promise<PlanPlace> {
  const { lat, lon, gnss } = options;
  const placeName = options.place ?? undefined;
  if (gnss !== null) {
    if (lat !== null || lon !== null) throw usage("--gnss gives the place; leave --lat and --lon");
    return { ...(await receivedPlace(gnss, options.data)), placeName };
  }
  if (lat !== null && lon !== null) return { latitudeDeg: lat, longitudeDeg: lon, placeName };
  if (lat !== null || lon !== null) throw usage("--lat and --lon go together");
  if (placeName === undefined) {
    throw usage("--lat and --lon are needed, or --place with a remembered place, or --gnss");
  }
  const kept = places.find(({ name }) => name === placeName);
  if (kept === undefined) {
    throw usage(`no place called "${placeName}" is remembered; give --lat and --lon`);
  }
  const { latitudeDeg, longitudeDeg, elevationM } = kept;
  return { latitudeDeg, longitudeDeg, elevationM, placeName };
}

async function receivedPlace(word: string, dataDir: string): Promise<Omit<PlanPlace, "placeName">> {
  // Loaded only here: most plans need no serial port.
  const { SensorHub } = await import("../sensors/sensors.ts");
  const { sensorTarget } = await import("../sensors/sensorTarget.ts");
  const { readProfiles } = await import("../profiles/readProfiles.ts");
  const hub = new SensorHub({
    targets: [sensorTarget(word, "gnss", readProfiles(resolve(dataDir)).sensors)],
    nowUtcMs: () => utcMs(Date.now()),
    print: (line) => process.stderr.write(`${line}\n`),
  });
  try {
    const place = await hub.firstPlace(PLACE_MS_MAX);
    if (place !== null) {
      const { latitudeDeg, longitudeDeg, elevationM } = place;
      return { latitudeDeg, longitudeDeg, elevationM: elevationM ?? undefined };
    }
  } finally {
    await hub.close();
  }
  const waited = PLACE_MS_MAX / 1000;
  throw new NightError(
    "sensor.gone",
    `the GNSS receiver on ${word} reported no place within ${waited} s; give --lat and --lon`,
  );
}

function usage(sentence: string): NightError {
  return new NightError("usage.invalid", sentence);
}

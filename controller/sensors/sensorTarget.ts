import { NightError } from "../../core/errors.ts";
import type { FromFile } from "../../core/profiles/parse.ts";
import type { SensorProfile } from "../../core/profiles/sensorProfile.ts";
import type { HardwareProfiles } from "../profiles/readProfiles.ts";

/** A sensor on a serial port. */
export type SensorTarget = {
  readonly kind: SensorProfile["kind"];
  readonly path: string;
  readonly baudRate: number;
  readonly silenceMsMax: number;
};

/**
 * Reads `PATH[:BAUD]` of a sensor of this kind; a user's own profile counts before the shipped one.
 * @throws NightError `usage.invalid`.
 */
export function sensorTarget(
  word: string,
  kind: SensorProfile["kind"],
  profiles: readonly FromFile<SensorProfile>[],
): SensorTarget {
  const match = /^(.+?)(?::(\d{2,7}))?$/.exec(word);
  const profile = profiles.find((found) => found.profile.kind === kind)?.profile;
  // The names that systems give to ports end in a digit where they have a colon at all.
  const isSpeedWrong = /:(\d{8,}|\d|[a-z]*)$/i.test(word);
  if (!match || !profile || isSpeedWrong) {
    throw new NightError(
      "usage.invalid",
      `a sensor's port is given as PATH or PATH:BAUD, the speed as a number, not "${word}"`,
    );
  }
  const { baudRate, silenceMsMax } = profile;
  return {
    ...{ kind, silenceMsMax },
    path: match[1]!,
    baudRate: match[2] === undefined ? baudRate : Number(match[2]),
  };
}

/** The sensors that were asked for. @throws NightError `usage.invalid`. */
export function sensorTargets(
  options: Readonly<Record<"gnss" | "light-meter" | "climate", string | null>>,
  profiles: HardwareProfiles["sensors"],
): SensorTarget[] {
  const { gnss, "light-meter": lightMeter, climate } = options;
  const words = { gnss, lightMeter, climate };
  return (["gnss", "lightMeter", "climate"] as const).flatMap((kind) => {
    const word = words[kind];
    return word === null ? [] : [sensorTarget(word, kind, profiles)];
  });
}

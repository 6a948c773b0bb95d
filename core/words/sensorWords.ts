type Sensor = "gnss" | "lightMeter" | "climate";

const NAMES: Readonly<Record<Sensor, string>> = {
  gnss: "GNSS receiver",
  lightMeter: "light meter",
  climate: "climate sensor",
};

type Trouble =
  | { readonly kind: "absent" | "denied" | "inUse" | "silent" | "foreign" }
  | { readonly kind: "refused"; readonly why: string };

/** What the terminal says of the sensors beside the camera. */
export const sensorWords = {
  presence: (sensor: Sensor, { path, isThere }: { path: string; isThere: boolean }): string => {
    const what = isThere ? "is there" : "is gone; the night goes on without it";
    return `The ${NAMES[sensor]} on ${path} ${what}.`;
  },

  /** Why a sensor that was asked for says nothing, and what to do about it. */
  trouble: (
    target: { readonly kind: Sensor; readonly path: string; readonly baudRate: number },
    trouble: Trouble,
  ): string => {
    const what = `The ${NAMES[target.kind]} on ${target.path}`;
    return `${what} ${troubleWords(target, trouble)} The night goes on without it; Nattvakt keeps trying.`;
  },
};

function troubleWords(
  { kind, path, baudRate }: { kind: Sensor; path: string; baudRate: number },
  trouble: Trouble,
): string {
  const speed = `another speed than ${baudRate} baud (${path}:BAUD sets it)`;
  switch (trouble.kind) {
    case "absent":
      return "is not there: no such port. Plug it in, or look up its path.";
    case "denied":
      return "may not be opened by this account. Join the group that owns the port (often dialout) and log in again.";
    case "inUse":
      return "is held by another program. Close that one.";
    case "refused":
      return `cannot be opened as a serial port (${trouble.why}). Look up its path.`;
    case "silent":
      return `says nothing. Look at its plug and its power; it may want ${speed}.`;
    case "foreign":
      return `does not speak as a ${NAMES[kind]} does. It is another device, or wants ${speed}.`;
  }
}

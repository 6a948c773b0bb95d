import { isNmeaSentence, readNmea } from "../../core/sensors/nmea.ts";
import { readSensorLine } from "../../core/sensors/sensorLine.ts";
import { sensorWords } from "../../core/words/sensorWords.ts";
import { utcMs, type UtcMs } from "../../core/units.ts";
import {
  SerialLines,
  type OpenSensorPort,
  type SensorTrouble,
  type SerialLinesOptions,
} from "./serialLines.ts";
import type { SensorTarget } from "./sensorTarget.ts";

/** What the sensors say. */
export type SensorEvent =
  | { readonly kind: "light"; readonly value: number }
  | {
      readonly kind: "climate";
      readonly temperatureC: number;
      readonly humidityPercent: number | null;
    }
  | {
      readonly kind: "place";
      readonly latitudeDeg: number;
      readonly longitudeDeg: number;
      /** Above the sea; null: the receiver has not said yet. */
      readonly elevationM: number | null;
    }
  /** Laptop clock less GNSS, milliseconds. */
  | { readonly kind: "clock"; readonly laptopLessGnssMs: number }
  | {
      readonly kind: "presence";
      readonly sensor: SensorTarget["kind"];
      readonly path: string;
      readonly isThere: boolean;
    }
  | { readonly kind: "trouble"; readonly target: SensorTarget; readonly trouble: SensorTrouble };

type SensorsOptions = {
  readonly targets: readonly SensorTarget[];
  /** The laptop's own time, not the night's. */
  readonly nowUtcMs: () => UtcMs;
  readonly tell: (event: SensorEvent) => void;
  readonly open?: OpenSensorPort;
  readonly wait?: SerialLinesOptions["wait"];
  readonly verdictMs?: number;
};

/** GNSS dates before this are a rolled-over week counter. This program did not exist then. */
const EARLIEST_UTC_MS = utcMs(Date.UTC(2025, 0, 1));
/** Light samples that come closer together than this tell nothing new. */
const LIGHT_PAUSE_MS = 45;
const CLIMATE_PAUSE_MS = 5_000;
/** A clock is reported again when it moved by this against the other, and now and then. */
const CLOCK_STEP_MS = 100;
const CLOCK_AGAIN_MS = 60_000;

/** The sensors beside the camera; each is optional and may vanish and come back. */
export class Sensors {
  readonly #options: SensorsOptions;
  readonly #lines: readonly SerialLines[];
  readonly #clock = new GnssClock();
  #lightMs = -Infinity;
  #climateMs = -Infinity;
  #reportedClock: { readonly offsetMs: number; readonly atMs: number } | null = null;
  #elevationM: number | null = null;

  constructor(options: SensorsOptions) {
    this.#options = options;
    const { open, wait, verdictMs } = options;
    this.#lines = options.targets.map(
      (target) =>
        new SerialLines({
          ...target,
          ...(open ? { open } : {}),
          ...(wait ? { wait } : {}),
          ...(verdictMs === undefined ? {} : { verdictMs }),
          isOurs: (line) => isLineOf(target.kind, line),
          onLine: (line) => (target.kind === "gnss" ? this.#nmea(line) : this.#plain(line)),
          onTrouble: (trouble) => options.tell({ kind: "trouble", target, trouble }),
          onPresence: (isThere) =>
            options.tell({ kind: "presence", sensor: target.kind, path: target.path, isThere }),
        }),
    );
  }

  async close(): Promise<void> {
    await Promise.all(this.#lines.map((lines) => lines.close()));
  }

  #nmea(line: string): void {
    const arrivedUtcMs = this.#options.nowUtcMs();
    const outcome = readNmea(line, EARLIEST_UTC_MS);
    if (outcome.kind !== "fix") return;
    const { fix } = outcome;
    this.#elevationM = fix.altitudeM ?? this.#elevationM;
    if (fix.utcMs !== null) {
      this.#clock.note(fix.utcMs, arrivedUtcMs);
      this.#tellClock(this.#clock.offsetMs!);
    }
    const { latitudeDeg, longitudeDeg } = fix;
    if (latitudeDeg === null || longitudeDeg === null) return;
    const elevationM = this.#elevationM;
    this.#options.tell({ kind: "place", latitudeDeg, longitudeDeg, elevationM });
  }

  #tellClock(offsetMs: number): void {
    const nowMs = this.#options.nowUtcMs();
    const reported = this.#reportedClock;
    const isOld = reported === null || Math.abs(nowMs - reported.atMs) >= CLOCK_AGAIN_MS;
    if (!isOld && Math.abs(offsetMs - reported.offsetMs) < CLOCK_STEP_MS) return;
    this.#reportedClock = { offsetMs, atMs: nowMs };
    this.#options.tell({ kind: "clock", laptopLessGnssMs: offsetMs });
  }

  #plain(line: string): void {
    const reading = readSensorLine(line);
    if (reading === null) return;
    const nowMs = this.#options.nowUtcMs();
    // A clock that is set back must not silence a sensor.
    const isNew = (lastMs: number, pauseMs: number): boolean =>
      nowMs - lastMs >= pauseMs || nowMs < lastMs;
    if (reading.kind === "light" && isNew(this.#lightMs, LIGHT_PAUSE_MS)) {
      this.#lightMs = nowMs;
      this.#options.tell(reading);
    }
    if (reading.kind === "climate" && isNew(this.#climateMs, CLIMATE_PAUSE_MS)) {
      this.#climateMs = nowMs;
      this.#options.tell(reading);
    }
  }
}

/** Whether a sensor of this kind says such a line, a receiver without a fix included. */
function isLineOf(sensor: SensorTarget["kind"], line: string): boolean {
  switch (sensor) {
    case "gnss":
      return isNmeaSentence(line);
    case "lightMeter":
      return readSensorLine(line)?.kind === "light";
    case "climate":
      return readSensorLine(line)?.kind === "climate";
  }
}

/** Comparisons that are looked at together: about half a minute of sentences. */
const KEPT = 30;

/**
 * Compares the laptop's clock with a GNSS receiver's. A sentence always arrives after the moment it
 * names, so of many comparisons the one with the least delay is nearest to the truth; without the
 * receiver's pulse some tenths of a second of delay remain.
 */
class GnssClock {
  #lags: number[] = [];

  /** @param arrivedUtcMs  The laptop's time at which the sentence was read. */
  note(gnssUtcMs: UtcMs, arrivedUtcMs: UtcMs): void {
    this.#lags = [...this.#lags, arrivedUtcMs - gnssUtcMs].slice(-KEPT);
  }

  /** Laptop clock less GNSS, milliseconds; null: never compared. */
  get offsetMs(): number | null {
    return this.#lags.length === 0 ? null : Math.min(...this.#lags);
  }
}

/** Where a GNSS receiver stands. */
export type SensedPlace = {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  /** Above the sea; null: the receiver has not said yet. */
  readonly elevationM: number | null;
};

type SensorHubOptions = Omit<SensorsOptions, "tell"> & {
  /** One line for the terminal. */
  readonly print: (line: string) => void;
};

/** Keeps what the sensors said last, and hands on what they say to any listener. */
export class SensorHub {
  readonly #sensors: Sensors;
  readonly #print: (line: string) => void;
  #listen: (event: SensorEvent) => void = () => undefined;
  #place: SensedPlace | null = null;
  #onPlace: (() => void) | null = null;
  #laptopLessGnssMs: number | null = null;

  constructor({ print, ...options }: SensorHubOptions) {
    this.#print = print;
    this.#sensors = new Sensors({ ...options, tell: (event) => this.#hear(event) });
  }

  /** Where the receiver was last; null: it has not reported a place yet. */
  get place(): SensedPlace | null {
    return this.#place;
  }

  /** This computer's clock less GNSS time, milliseconds; null: no receiver has been heard. */
  get laptopLessGnssMs(): number | null {
    return this.#laptopLessGnssMs;
  }

  onEvent(listener: (event: SensorEvent) => void): void {
    this.#listen = listener;
  }

  /** The receiver's place as soon as it has one; null when it has none within the time. */
  async firstPlace(waitMsMax: number): Promise<SensedPlace | null> {
    if (this.#place === null) {
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, waitMsMax);
        this.#onPlace = () => {
          clearTimeout(timer);
          resolve();
        };
      });
    }
    return this.#place;
  }

  async close(): Promise<void> {
    this.#onPlace?.();
    await this.#sensors.close();
  }

  #hear(event: SensorEvent): void {
    if (event.kind === "presence") {
      const { sensor, path, isThere } = event;
      this.#print(sensorWords.presence(sensor, { path, isThere }));
    }
    if (event.kind === "trouble") {
      const { target, trouble } = event;
      this.#print(sensorWords.trouble(target, trouble));
      // Nobody need wait for a place that this receiver will not give.
      if (target.kind === "gnss") this.#onPlace?.();
    }
    if (event.kind === "clock") this.#laptopLessGnssMs = event.laptopLessGnssMs;
    if (event.kind === "place") {
      const { latitudeDeg, longitudeDeg, elevationM } = event;
      this.#place = { latitudeDeg, longitudeDeg, elevationM };
      this.#onPlace?.();
    }
    this.#listen(event);
  }
}

import type { SensorEvent, SensorsOptions } from "./sensors.ts";
import { Sensors } from "./sensors.ts";

/** Where a GNSS receiver stands. */
export type SensedPlace = {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  /** Above the sea; null: the receiver has not said yet. */
  readonly elevationM: number | null;
};

export type SensorDeskOptions = Omit<SensorsOptions, "tell"> & {
  /** One line for the terminal. */
  readonly print: (line: string) => void;
};

const NAMES = { gnss: "GNSS receiver", lightMeter: "light meter", climate: "climate sensor" };

/** Keeps what the sensors said last, and hands on what they say to whoever listens. */
export class SensorDesk {
  readonly #sensors: Sensors;
  readonly #print: (line: string) => void;
  #listen: (event: SensorEvent) => void = () => undefined;
  #place: SensedPlace | null = null;
  #onPlace: (() => void) | null = null;
  #laptopLessGnssMs: number | null = null;

  constructor({ print, ...options }: SensorDeskOptions) {
    this.#print = print;
    this.#sensors = new Sensors({ ...options, tell: (event) => this.#hear(event) });
  }

  /** Where the receiver was last; null: it has not told a place yet. */
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
      const what = isThere ? "is there" : "is gone; the night goes on without it";
      this.#print(`The ${NAMES[sensor]} on ${path} ${what}.`);
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

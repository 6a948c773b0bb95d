import {
  isLegal,
  type DevicePropDesc,
  type PropertyForm,
} from "../../core/ptp/datasets/devicePropDesc.ts";
import type { DataType, PtpValue } from "../../core/ptp/dataTypes.ts";
import { dateTimeUtcMs, formatDateTime } from "../../core/ptp/dateTime.ts";
import {
  batteryLevel,
  dateTimeProperty,
  exposureIndex,
  exposureProgramMode,
  exposureTime,
  fNumber,
  focalLength,
  focusMode,
  functionalMode,
  imageSize,
  stillCaptureMode,
} from "../../core/ptp/properties.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import type { Clock } from "../timing/clock.ts";
import type { CameraClock } from "./cameraClock.ts";
import type { CameraSettings } from "./cameraSettings.ts";

/** How a wish to set a property ended. */
type SetOutcome = "ok" | "readOnly" | "illegal" | "unknown";

type State = {
  readonly desc: (nowMs: ReturnType<Clock["monotonicMs"]>) => DevicePropDesc;
  /** Checks beyond the form, and the change itself; left out: get-only. */
  readonly set?: (value: PtpValue) => SetOutcome;
  readonly reset?: () => void;
};

type Declared = { readonly code: number; readonly dataType: DataType<number> };

const PROGRAMS = ["manual", "automatic", "aperturePriority", "shutterPriority"] as const;
const FOCUSINGS = ["manual", "automatic"] as const;
const ONE_FRAME = stillCaptureMode.encode({ kind: "normal" });
/** What a program other than manual may keep from the photographer. */
const LEFT_TO_PROGRAMS: readonly number[] = [fNumber.code, exposureTime.code];

/** The camera's properties: what they are, may be, and are set to. */
export class PropertyState {
  readonly #clock: Clock;
  readonly #cameraClock: CameraClock;
  readonly #settings: CameraSettings;
  readonly #batteryPercent: () => number;
  readonly #values = new Map<number, number>();
  readonly #states: ReadonlyMap<number, State>;
  readonly #size: { readonly widthPx: number; readonly heightPx: number };

  constructor(options: {
    readonly clock: Clock;
    readonly cameraClock: CameraClock;
    readonly settings: CameraSettings;
    readonly batteryPercent: () => number;
    readonly widthPx: number;
    readonly heightPx: number;
  }) {
    this.#clock = options.clock;
    this.#cameraClock = options.cameraClock;
    this.#settings = options.settings;
    this.#batteryPercent = options.batteryPercent;
    this.#size = { widthPx: options.widthPx, heightPx: options.heightPx };
    this.#states = this.#declare();
  }

  get codes(): readonly number[] {
    return [...this.#states.keys()].sort((a, b) => a - b);
  }

  describe(code: number): DevicePropDesc | null {
    return this.#states.get(code)?.desc(this.#clock.monotonicMs()) ?? null;
  }

  set(code: number, value: PtpValue): SetOutcome {
    const state = this.#states.get(code);
    const desc = this.describe(code);
    if (state === undefined || desc?.kind !== "described") return "unknown";
    if (state.set === undefined || !desc.isSettable) return "readOnly";
    if (!isLegal(desc.form, value)) return "illegal";
    return state.set(value);
  }

  /** Back to the factory's value; the clock is never reset. */
  reset(code: number): SetOutcome {
    const state = this.#states.get(code);
    if (state === undefined) return "unknown";
    if (state.reset === undefined) return "readOnly";
    state.reset();
    return "ok";
  }

  /** What the next timed frame would be taken with; bulb takes its time from the host. */
  exposure(): Exposure {
    return {
      exposureSeconds: this.#number(exposureTime),
      iso: this.#number(exposureIndex),
      fNumber: this.#number(fNumber),
    };
  }

  #number({ code, decode }: typeof exposureTime): number {
    const value = decode(this.#value(code));
    if (value === null) throw new TypeError("the camera is set to numbers alone");
    return value;
  }

  get isManual(): boolean {
    return this.#value(exposureProgramMode.code) === exposureProgramMode.encode({ kind: "manual" });
  }

  #value(code: number): number {
    return this.#values.get(code) ?? 0;
  }

  /** Which exposure values the photographer's program leaves to the photographer. */
  #isFree(code: number): boolean {
    const program = exposureProgramMode.decode(this.#value(exposureProgramMode.code))?.kind;
    if (program === "manual") return true;
    if (program === "aperturePriority") return code === fNumber.code;
    return program === "shutterPriority" && code === exposureTime.code;
  }

  #declare(): ReadonlyMap<number, State> {
    const settings = this.#settings;
    return new Map<number, State>([
      [batteryLevel.code, this.#battery()],
      [functionalMode.code, fixed(functionalMode, functionalMode.encode({ kind: "standard" }))],
      [imageSize.code, this.#imageSize()],
      [focalLength.code, fixed(focalLength, focalLength.encode(settings.focalLengthMm))],
      [fNumber.code, this.#choice(fNumber, settings.fNumbers, fNumber.encode(2.8))],
      [
        exposureTime.code,
        this.#choice(exposureTime, settings.exposureTimes, exposureTime.encode(1)),
      ],
      [
        exposureIndex.code,
        this.#choice(exposureIndex, settings.exposureIndices, exposureIndex.encode(1600)),
      ],
      [
        exposureProgramMode.code,
        this.#choice(
          exposureProgramMode,
          PROGRAMS.map((kind) => exposureProgramMode.encode({ kind })),
          exposureProgramMode.encode({ kind: settings.programMode }),
        ),
      ],
      [
        focusMode.code,
        this.#choice(
          focusMode,
          FOCUSINGS.map((kind) => focusMode.encode({ kind })),
          focusMode.encode({ kind: settings.focusMode }),
        ),
      ],
      [stillCaptureMode.code, this.#choice(stillCaptureMode, [ONE_FRAME], ONE_FRAME)],
      [dateTimeProperty.code, this.#dateTime()],
    ]);
  }

  #choice({ code, dataType }: Declared, values: readonly number[], wanted: number): State {
    const factoryDefault = values.reduce((best, value) =>
      Math.abs(value - wanted) < Math.abs(best - wanted) ? value : best,
    );
    this.#values.set(code, factoryDefault);
    return {
      desc: () => ({
        kind: "described",
        ...{ code, dataType },
        isSettable: !LEFT_TO_PROGRAMS.includes(code) || this.#isFree(code),
        factoryDefault,
        current: this.#value(code),
        form: { kind: "enumeration", values },
      }),
      set: (value) => {
        this.#values.set(code, value as number);
        return "ok";
      },
      reset: () => this.#values.set(code, factoryDefault),
    };
  }

  #battery(): State {
    return {
      desc: () => ({
        kind: "described",
        code: batteryLevel.code,
        dataType: batteryLevel.dataType,
        isSettable: false,
        factoryDefault: batteryLevel.max,
        current: Math.round(this.#batteryPercent()),
        form: { kind: "range", min: 0, max: batteryLevel.max, step: 1 },
      }),
    };
  }

  #imageSize(): State {
    const size = imageSize.encode(this.#size);
    return {
      desc: () => ({
        kind: "described",
        code: imageSize.code,
        dataType: imageSize.dataType,
        isSettable: true,
        factoryDefault: size,
        current: size,
        form: { kind: "enumeration", values: [size] },
      }),
      set: () => "ok",
      reset: () => {},
    };
  }

  #dateTime(): State {
    const { utcOffsetMinutes } = this.#settings;
    const form: PropertyForm = { kind: "none" };
    return {
      desc: (nowMs) => {
        const wallMs = this.#cameraClock.utcOf(nowMs) + utcOffsetMinutes * 60_000;
        const current = formatDateTime(
          { wallMs, offsetMinutes: utcOffsetMinutes },
          { withTenths: true },
        );
        return {
          kind: "described",
          code: dateTimeProperty.code,
          dataType: dateTimeProperty.dataType,
          isSettable: true,
          factoryDefault: "20260101T000000",
          current,
          form,
        };
      },
      set: (value) => {
        const moment = dateTimeProperty.decode(value);
        if (moment === null) return "illegal";
        const wanted = dateTimeUtcMs(moment, utcOffsetMinutes);
        this.#cameraClock.set(wanted, this.#clock.monotonicMs());
        return "ok";
      },
    };
  }
}

function fixed({ code, dataType }: Declared, value: number): State {
  return {
    desc: () => ({
      kind: "described",
      ...{ code, dataType },
      isSettable: false,
      factoryDefault: value,
      current: value,
      form: { kind: "enumeration", values: [value] },
    }),
  };
}

import {
  isLegal,
  type DevicePropDesc,
  type PropertyForm,
} from "../../core/ptp/datasets/devicePropDesc.ts";
import { string, uint16, uint32, uint8, type PtpValue } from "../../core/ptp/dataTypes.ts";
import { dateTimeUtcMs, formatDateTime, parseDateTime } from "../../core/ptp/dateTime.ts";
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

/** The camera's properties: what they are, may be, and are set to. */
export class PropertyState {
  readonly #clock: Clock;
  readonly #cameraClock: CameraClock;
  readonly #settings: CameraSettings;
  readonly #batteryPercent: () => number;
  readonly #values = new Map<number, number>();
  readonly #states: ReadonlyMap<number, State>;
  readonly #size: string;

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
    this.#size = `${options.widthPx}x${options.heightPx}`;
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
      exposureSeconds: exposureTime.decode(this.#value(exposureTime.code)),
      iso: this.#value(exposureIndex.code),
      fNumber: fNumber.decode(this.#value(fNumber.code)),
    };
  }

  get isManual(): boolean {
    return this.#value(exposureProgramMode.code) === exposureProgramMode.encode({ kind: "manual" });
  }

  #value(code: number): number {
    return this.#values.get(code) ?? 0;
  }

  /** Which exposure values the photographer's program leaves to the photographer. */
  #isFree(code: number): boolean {
    const program = exposureProgramMode.decode(this.#value(exposureProgramMode.code)).kind;
    if (program === "manual") return true;
    if (program === "aperturePriority") return code === fNumber.code;
    return program === "shutterPriority" && code === exposureTime.code;
  }

  #declare(): ReadonlyMap<number, State> {
    const settings = this.#settings;
    return new Map<number, State>([
      [batteryLevel.code, this.#battery()],
      [functionalMode.code, fixed(functionalMode.code, 0, [0])],
      [imageSize.code, this.#imageSize()],
      [focalLength.code, this.#focalLength()],
      [fNumber.code, this.#choice(fNumber.code, settings.fNumbers, 280, true)],
      [exposureTime.code, this.#exposureTime()],
      [exposureIndex.code, this.#choice(exposureIndex.code, settings.exposureIndices, 1600, true)],
      [
        exposureProgramMode.code,
        this.#choice(
          exposureProgramMode.code,
          [1, 2, 3, 4],
          exposureProgramMode.encode({ kind: settings.programMode }),
        ),
      ],
      [
        focusMode.code,
        this.#choice(focusMode.code, [1, 2], focusMode.encode({ kind: settings.focusMode })),
      ],
      [stillCaptureMode.code, this.#choice(stillCaptureMode.code, [1], 1)],
      [dateTimeProperty.code, this.#dateTime()],
    ]);
  }

  #choice(code: number, values: readonly number[], wanted: number, needsProgram = false): State {
    const factoryDefault = values.reduce((best, value) =>
      Math.abs(value - wanted) < Math.abs(best - wanted) ? value : best,
    );
    this.#values.set(code, factoryDefault);
    return {
      desc: () => ({
        kind: "described",
        code,
        dataType: uint16,
        isSettable: !needsProgram || this.#isFree(code) || code === exposureIndex.code,
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

  #exposureTime(): State {
    const state = this.#choice(
      exposureTime.code,
      this.#settings.exposureTimes,
      exposureTime.encode(1),
      true,
    );
    return {
      ...state,
      desc: (nowMs) => ({ ...described(state.desc(nowMs)), dataType: uint32 }),
    };
  }

  #battery(): State {
    return {
      desc: () => ({
        kind: "described",
        code: batteryLevel.code,
        dataType: uint8,
        isSettable: false,
        factoryDefault: 100,
        current: Math.round(this.#batteryPercent()),
        form: { kind: "range", min: 0, max: 100, step: 1 },
      }),
    };
  }

  #imageSize(): State {
    const values = [this.#size];
    return {
      desc: () => ({
        kind: "described",
        code: imageSize.code,
        dataType: string,
        isSettable: true,
        factoryDefault: this.#size,
        current: this.#size,
        form: { kind: "enumeration", values },
      }),
      set: () => "ok",
      reset: () => {},
    };
  }

  #focalLength(): State {
    const raw = focalLength.encode(this.#settings.focalLengthMm);
    return {
      desc: () => ({
        kind: "described",
        code: focalLength.code,
        dataType: uint32,
        isSettable: false,
        factoryDefault: raw,
        current: raw,
        form: { kind: "enumeration", values: [raw] },
      }),
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
          dataType: string,
          isSettable: true,
          factoryDefault: "20260101T000000",
          current,
          form,
        };
      },
      set: (value) => {
        const moment = typeof value === "string" ? parseDateTime(value) : null;
        if (moment === null) return "illegal";
        const wanted = dateTimeUtcMs(moment, utcOffsetMinutes);
        this.#cameraClock.set(wanted, this.#clock.monotonicMs());
        return "ok";
      },
    };
  }
}

function described(desc: DevicePropDesc): Extract<DevicePropDesc, { kind: "described" }> {
  if (desc.kind !== "described") throw new TypeError("the camera describes all its properties");
  return desc;
}

function fixed(code: number, value: number, values: readonly number[]): State {
  return {
    desc: () => ({
      kind: "described",
      code,
      dataType: uint16,
      isSettable: false,
      factoryDefault: value,
      current: value,
      form: { kind: "enumeration", values },
    }),
  };
}

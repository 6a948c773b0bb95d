import type { NightError } from "../../core/errors.ts";
import type { MonotonicMs } from "../../core/units.ts";
import type { CameraEvent, ExposureOrder } from "../cameras/camera.ts";
import type { OperationAnswer } from "../cameras/transport.ts";
import { nightOf, type ClockOrigin, type RealTime } from "../timing/clock.ts";
import { ownedBytes, type OwnedBytes } from "../workers/ownedBytes.ts";
import type { FromShutter } from "./shutterMessages.ts";

type ShutterReportsOptions = {
  readonly origin: ClockOrigin;
  readonly time: RealTime;
  readonly send: (message: FromShutter, handedOver?: readonly OwnedBytes[]) => void;
  /** Since when the shutter may be open without anybody in control of it; null: it is not. */
  readonly looseSinceMs: () => MonotonicMs | null;
};

/** Reports to the main thread what the camera does, in the night's time. */
export class ShutterReports {
  readonly #options: ShutterReportsOptions;

  constructor(options: ShutterReportsOptions) {
    this.#options = options;
  }

  /** This moment, in the night's time. */
  nightNow(): MonotonicMs {
    return nightOf(this.#options.time.nowMs(), this.#options.origin);
  }

  /** A picture is handed over with its event, not copied. */
  tell(event: CameraEvent): void {
    if (event.kind !== "frameArrived") return this.#options.send({ kind: "event", event });
    const jpeg = ownedBytes(event.jpeg);
    this.#options.send({ kind: "event", event: { ...event, jpeg } }, [jpeg]);
  }

  tellOpened({ frameIndex }: ExposureOrder, { answeredMs }: OperationAnswer): void {
    const atMs = nightOf(answeredMs, this.#options.origin);
    this.tell({ kind: "shutterOpened", frameIndex, atMs });
  }

  /** @param frameIndex  The frame that it costs; null: none, or nobody knows which. */
  fail(error: NightError, frameIndex: number | null, camera: "gone" | "there"): void {
    const { code, message: sentence } = error;
    const looseSinceMs = this.#options.looseSinceMs();
    const loose = looseSinceMs === null ? {} : { looseSinceMs };
    this.tell({ kind: "failed", code, sentence, frameIndex, gone: camera === "gone", ...loose });
  }
}

import { NightError } from "../../core/errors.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import { monotonicMs, utcMs, type UtcMs } from "../../core/units.ts";
import type { Camera, CameraDescription, CameraEvent } from "../cameras/camera.ts";
import type { Clock } from "../timing/clock.ts";

/** A frame taken before the night, for focus or framing; it belongs to no night. */
export type TrialFrame = {
  readonly jpeg: Uint8Array;
  readonly happened: Exposure;
  /** The middle of the exposure; the camera's own delay, a fraction of a second, is not in it. */
  readonly middleUtcMs: UtcMs;
};

/** A camera that is silent for so long beyond the exposure is given up, real milliseconds. */
const SILENCE_MS = 20_000;

/** Takes single frames, one at a time, while no watch has the camera. */
export class TrialCamera {
  readonly #camera: Camera;
  readonly #clock: Clock;
  #description: CameraDescription | null = null;
  #frameIndex = 0;
  #listener: (event: CameraEvent) => void = () => {};

  constructor(camera: Camera, clock: Clock) {
    this.#camera = camera;
    this.#clock = clock;
    camera.onEvent((event) => this.#listener(event));
  }

  get description(): CameraDescription | null {
    return this.#description;
  }

  /** @throws NightError as the camera reported it, or `camera.unreachable`. */
  async connect(): Promise<CameraDescription> {
    const connected = this.#answer((event) =>
      event.kind === "connected" ? event.description : null,
    );
    this.#camera.connect();
    this.#description = await connected;
    return this.#description;
  }

  /** Takes one frame with the nearest exposure that the camera can do. */
  async take(wanted: Exposure): Promise<TrialFrame> {
    const { isoLadder = [], fNumber = null } = this.#description ?? {};
    const exposure: Exposure = {
      exposureSeconds: wanted.exposureSeconds,
      iso: nearest(isoLadder, wanted.iso),
      fNumber: fNumber ?? wanted.fNumber,
    };
    const frameIndex = this.#frameIndex;
    this.#frameIndex += 1;
    let happened = exposure;
    let jpeg: Uint8Array | null = null;
    let isReady = false;
    const openAtMs = monotonicMs(this.#clock.monotonicMs());
    const middleUtcMs = (): UtcMs =>
      utcMs(this.#clock.utcOf(openAtMs) + happened.exposureSeconds * 500);
    const frame = this.#answer((event) => {
      if (event.kind === "shutterClosed") happened = event.happened;
      if (event.kind === "frameArrived") jpeg = event.jpeg;
      if (event.kind === "ready") isReady = true;
      return jpeg !== null && isReady ? { jpeg, happened, middleUtcMs: middleUtcMs() } : null;
    }, exposure.exposureSeconds * 1000);
    this.#camera.expose({ frameIndex, exposure, openAtMs });
    return await frame;
  }

  async close(): Promise<void> {
    await this.#camera.close();
  }

  /** The first event that `pick` makes something of; a failure or a long silence rejects. */
  #answer<T>(pick: (event: CameraEvent) => T | null, nightMs = 0): Promise<T> {
    return new Promise<T>((resolve, reject) => {
      const silence = new AbortController();
      const settle = (act: () => void): void => {
        silence.abort();
        this.#listener = () => {};
        act();
      };
      this.#listener = (event) => {
        if (event.kind === "failed") {
          return settle(() => reject(new NightError(event.code, event.sentence)));
        }
        if (event.kind === "frameMissing") {
          return settle(() => reject(new NightError("camera.frame_missing", event.why)));
        }
        const picked = pick(event);
        if (picked !== null) settle(() => resolve(picked));
      };
      const { rate } = this.#clock.origin;
      const deadlineMs = this.#clock.monotonicMs() + nightMs + SILENCE_MS * rate;
      this.#clock.sleepUntil(monotonicMs(deadlineMs), silence.signal).then(
        () =>
          settle(() => reject(new NightError("camera.unreachable", "The camera does not answer."))),
        () => {
          // Answered in time.
        },
      );
    });
  }
}

function nearest(ladder: readonly number[], wanted: number): number {
  return ladder.reduce(
    (best, iso) =>
      Math.abs(Math.log2(iso / wanted)) < Math.abs(Math.log2(best / wanted)) ? iso : best,
    ladder[0] ?? wanted,
  );
}

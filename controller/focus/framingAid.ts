import { asNightError, NightError } from "../../core/errors.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import type { FramingOrder, FramingView } from "../../core/api/focusMessages.ts";
import type { FramingStars } from "../../core/pointing/framingStars.ts";
import type { FramingReading } from "../../core/photometry/framing/framing.ts";
import type { TrialCamera, TrialFrame } from "./trialCamera.ts";
import { trialSeconds } from "./trialExposure.ts";

/** Where a test frame points by its stars; never rejects. */
type AskStars = (frame: Pick<TrialFrame, "jpeg" | "middleUtcMs">) => Promise<FramingStars>;

/** High ISO and a few seconds show the composition at once. Common practice, no source. */
const DEFAULT_EXPOSURE_SECONDS = 4;
const DEFAULT_ISO = 12800;

/**
 * Takes one test frame and says what it shows of horizon, lamps and glow, and a moment later what its
 * stars say where the camera points.
 *
 * `skyExposure` gives the exposure that the clear sky asks for now; null: not known.
 */
export class FramingAid {
  readonly #openCamera: (cameraId: string) => TrialCamera;
  readonly #read: (jpeg: Uint8Array) => Promise<FramingReading>;
  readonly #skyExposure: () => Exposure | null;
  readonly #askStars: AskStars;
  #view: FramingView = { kind: "none" };
  #picture: Uint8Array | null = null;
  #count = 0;

  constructor(
    openCamera: (cameraId: string) => TrialCamera,
    read: (jpeg: Uint8Array) => Promise<FramingReading>,
    options: { readonly skyExposure?: () => Exposure | null; readonly askStars: AskStars },
  ) {
    this.#openCamera = openCamera;
    this.#read = read;
    this.#skyExposure = options.skyExposure ?? (() => null);
    this.#askStars = options.askStars;
  }

  view(): FramingView {
    return this.#view;
  }

  picture(): Uint8Array | null {
    return this.#picture;
  }

  /** The newest test frame of a camera; null: none was taken. */
  pictureOf(cameraId: string): Uint8Array | null {
    return this.#view.kind === "done" && this.#view.cameraId === cameraId ? this.#picture : null;
  }

  get isRunning(): boolean {
    return this.#view.kind === "running";
  }

  /** @throws NightError `settings.invalid` while a test frame is being taken. */
  start(order: FramingOrder): FramingView {
    if (this.isRunning) {
      throw new NightError("settings.invalid", "A test frame is being taken already.");
    }
    this.#view = { kind: "running", cameraId: order.cameraId };
    void this.#run(order);
    return this.#view;
  }

  async #run(order: FramingOrder): Promise<void> {
    const { cameraId, iso = DEFAULT_ISO } = order;
    const exposureSeconds =
      order.exposureSeconds ??
      trialSeconds(DEFAULT_EXPOSURE_SECONDS, { iso, sky: this.#skyExposure() });
    let camera: TrialCamera | null = null;
    try {
      camera = this.#openCamera(cameraId);
      await camera.connect();
      const frame = await camera.take({ exposureSeconds, iso, fNumber: 2.8 });
      const { jpeg, happened } = frame;
      const reading = await this.#read(jpeg);
      this.#picture = jpeg;
      this.#count += 1;
      const pictureIndex = this.#count;
      this.#view = { kind: "done", cameraId, happened, reading, pictureIndex, stars: null };
      void this.#learnStars(pictureIndex, frame);
    } catch (thrown) {
      this.#view = { kind: "failed", cameraId, sentence: asNightError(thrown).message };
    } finally {
      // Released in any case; a second failure adds nothing to the first.
      await camera?.close().catch(() => undefined);
    }
  }

  /** What the stars tell comes when it comes; a newer test frame makes it void. */
  async #learnStars(pictureIndex: number, frame: TrialFrame): Promise<void> {
    const stars = await this.#askStars(frame);
    if (this.#view.kind !== "done" || this.#view.pictureIndex !== pictureIndex) return;
    this.#view = { ...this.#view, stars };
  }
}

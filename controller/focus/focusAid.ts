import sharp from "sharp";
import type { FocusOrder, FocusView } from "../../core/api/focusMessages.ts";
import { NightError, asNightError } from "../../core/errors.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import {
  judgeFocus,
  type FocusPoint,
  type FocusVerdict,
} from "../../core/photometry/focusTrace.ts";
import { lightTable, startToneResponse } from "../../core/photometry/response.ts";
import { findStars, type StarField } from "../../core/photometry/starWidth.ts";
import { decodePixels, type DecodedPixels } from "../metering/decodePreview.ts";
import type { TrialCamera } from "./trialCamera.ts";
import { trialSeconds } from "./trialExposure.ts";

/** Long enough for stars, short enough for the ring. Common practice, no source. */
const DEFAULT_EXPOSURE_SECONDS = 2;
const DEFAULT_ISO = 6400;
const POINTS_MAX = 300;
/** Stars are measured on as many pixels as the file has, within reason. */
const WIDTH_PX_MAX = 3000;
const CROP_PX = 96;
const CROP_SHOWN_PX = 384;

type Running = Extract<FocusView, { kind: "running" }>;

/**
 * Takes short frames one after another while the ring is turned, and measures the stars on each.
 * One at a time in the program; a watch and the focus aid never share a camera.
 *
 * `skyExposure` gives the exposure that the clear sky asks for now; null: not known.
 */
export class FocusAid {
  readonly #openCamera: (cameraId: string) => TrialCamera;
  readonly #skyExposure: () => Exposure | null;
  #view: FocusView = { kind: "off" };
  #picture: Uint8Array | null = null;
  #camera: TrialCamera | null = null;
  #isStopping = false;
  #loop: Promise<void> = Promise.resolve();

  constructor(
    openCamera: (cameraId: string) => TrialCamera,
    skyExposure: () => Exposure | null = () => null,
  ) {
    this.#openCamera = openCamera;
    this.#skyExposure = skyExposure;
  }

  view(): FocusView {
    return this.#view;
  }

  /** The brightest star of the newest frame, magnified, as JPEG; null: none yet. */
  picture(): Uint8Array | null {
    return this.#picture;
  }

  get isRunning(): boolean {
    return this.#view.kind === "running";
  }

  /** @throws NightError `settings.invalid` when it runs already. */
  start(order: FocusOrder): FocusView {
    if (this.isRunning) {
      throw new NightError("settings.invalid", "The focus aid is running already.");
    }
    const { iso = DEFAULT_ISO, cameraId } = order;
    const exposureSeconds =
      order.exposureSeconds ??
      trialSeconds(DEFAULT_EXPOSURE_SECONDS, { iso, sky: this.#skyExposure() });
    this.#isStopping = false;
    this.#picture = null;
    this.#view = {
      ...{ kind: "running", cameraId, exposureSeconds, iso, points: [], pictureIndex: null },
      verdict: { kind: "searching" },
      sentence: SENTENCES.searching(),
    };
    this.#loop = this.#run(this.#view);
    return this.#view;
  }

  async stop(): Promise<FocusView> {
    this.#isStopping = true;
    await this.#loop;
    if (this.#view.kind === "running") this.#view = { kind: "off" };
    return this.#view;
  }

  async #run({ cameraId, exposureSeconds, iso }: Running): Promise<void> {
    try {
      this.#camera = this.#openCamera(cameraId);
      await this.#camera.connect();
      while (!this.#isStopping) {
        const { jpeg } = await this.#camera.take({ exposureSeconds, iso, fNumber: 2.8 });
        await this.#measure(jpeg);
      }
    } catch (thrown) {
      this.#view = { kind: "failed", cameraId, sentence: asNightError(thrown).message };
    } finally {
      const camera = this.#camera;
      this.#camera = null;
      // The camera is released in any case; a second failure adds nothing to the first.
      await camera?.close().catch(() => undefined);
    }
  }

  async #measure(jpeg: Uint8Array): Promise<void> {
    if (this.#view.kind !== "running") return;
    const pixels = await decodePixels(jpeg, WIDTH_PX_MAX);
    const field = findStars(pixels, { table: lightTable(startToneResponse()) });
    const points = [...this.#view.points, pointOf(field, this.#view.points)].slice(-POINTS_MAX);
    const verdict = judgeFocus(points);
    this.#picture = await starPicture(pixels, field);
    this.#view = {
      ...this.#view,
      points,
      verdict,
      sentence: sentenceOf(verdict),
      pictureIndex: this.#picture === null ? null : points.at(-1)!.index,
    };
  }
}

/** Stars by their median; where there are too few, the brightest one: a far light will do. */
function pointOf(field: StarField, before: readonly FocusPoint[]): FocusPoint {
  return {
    index: (before.at(-1)?.index ?? -1) + 1,
    widthPx: field.widthPx ?? field.stars[0]?.widthPx ?? null,
    starCount: field.stars.length,
    lightStops: field.lightStops,
  };
}

async function starPicture(pixels: DecodedPixels, field: StarField): Promise<Uint8Array | null> {
  const star = field.stars[0];
  if (!star || pixels.widthPx < CROP_PX || pixels.heightPx < CROP_PX) return null;
  const at = (centre: number, size: number): number =>
    Math.round(Math.min(size - CROP_PX, Math.max(0, centre - CROP_PX / 2)));
  const raw = { width: pixels.widthPx, height: pixels.heightPx, channels: 3 as const };
  return await sharp(pixels.rgb, { raw })
    .extract({
      left: at(star.x, pixels.widthPx),
      top: at(star.y, pixels.heightPx),
      width: CROP_PX,
      height: CROP_PX,
    })
    .resize({ width: CROP_SHOWN_PX, kernel: "nearest" })
    .jpeg({ quality: 85 })
    .toBuffer();
}

const SENTENCES = {
  searching: () => "Taking the first frame.",
  noStars: () =>
    "No star or far light found. Take the cap off; in twilight focus on a far lamp, or wait for the first stars.",
  sharpening: ({ widthPx }: { widthPx: number }) =>
    `${px(widthPx)} and getting sharper. Turn on slowly, the same way.`,
  softening: ({ widthPx }: { widthPx: number }) =>
    `${px(widthPx)} and getting softer. Turn the other way.`,
  steady: ({ widthPx }: { widthPx: number }) =>
    `${px(widthPx)}. Turn the ring a little, either way, and watch the number.`,
  passed: (verdict: Extract<FocusVerdict, { kind: "passed" }>) =>
    `The best was ${verdict.bestPx.toFixed(1)} px, ${verdict.framesAgo} frames ago. Turn back until the number is there again.`,
  atBest: ({ widthPx }: { widthPx: number }) =>
    `${px(widthPx)}: as sharp as it gets. Tape the ring and do not touch it again.`,
};

function sentenceOf(verdict: FocusVerdict): string {
  switch (verdict.kind) {
    case "searching":
      return SENTENCES.searching();
    case "noStars":
      return SENTENCES.noStars();
    case "passed":
      return SENTENCES.passed(verdict);
    default:
      return SENTENCES[verdict.kind](verdict);
  }
}

function px(widthPx: number): string {
  return `Stars are ${widthPx.toFixed(1)} px wide`;
}

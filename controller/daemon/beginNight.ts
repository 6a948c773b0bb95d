import { mkdirSync, readFileSync } from "node:fs";
import { join, resolve } from "node:path";
import * as v from "valibot";
import {
  beginOrderSchema,
  type BeginOrder,
  type BeginView,
  type CameraOffer,
  type FoundCameras,
} from "../../core/api/beginMessages.ts";
import { settingsChange } from "../../core/api/settingsChange.ts";
import { NightError } from "../../core/errors.ts";
import { placeOf } from "../../core/sky/place.ts";
import { beginWords } from "../../core/words/beginWords.ts";
import { unfinishedNights } from "../archive/recover.ts";
import { askCamera, camerasOnUsb } from "../cameras/offers.ts";
import { cameraTargetOf, exposureSettings, type StartOptions } from "../config.ts";
import { writeDurablySync } from "../durableWrite.ts";
import type { NightBeginner } from "../web/beginRoutes.ts";
import type { RunningOrder } from "./openNight.ts";

/** In the data folder: the choice that the last night was begun with from the page. */
const CHOICE_FILE = "begun-with.json";

/** The start options that a choice on the page comes to. */
function optionsOf(order: BeginOrder, base: StartOptions): StartOptions {
  const { settings } = order;
  return {
    ...base,
    camera: order.camera,
    release: null,
    "frames-folder": null,
    "no-demo": true,
    lat: order.latitudeDeg,
    lon: order.longitudeDeg,
    "elevation-m": order.elevationM ?? null,
    "from-dusk": order.when === "dusk",
    "max-exposure-seconds": settings.exposureSecondsMax ?? base["max-exposure-seconds"],
    "iso-max": settings.isoMax ?? base["iso-max"],
    "f-number": settings.fNumber ?? base["f-number"],
    "focal-length-mm": settings.focalLengthMm ?? base["focal-length-mm"],
    "sensor-width-mm": settings.sensorWidthMm ?? base["sensor-width-mm"],
    "pixel-pitch-um": settings.pixelPitchUm ?? base["pixel-pitch-um"],
  };
}

/**
 * What a program goes on with that was started for its page alone: the night that was begun from
 * it and cut off, with the same camera; else nothing.
 */
export function optionsToGoOn(given: StartOptions, print: (line: string) => void): StartOptions {
  if (!given["no-demo"] || given.camera !== null || given.release !== null) return given;
  const dataDir = resolve(given.data);
  const isCutOff = unfinishedNights(dataDir).some(({ order }) => !(order as RunningOrder).isDemo);
  const order = isCutOff && !given["new-night"] ? readChoice(dataDir, print) : null;
  if (order === null) return given;
  print(beginWords.goesOn(order.camera));
  return optionsOf(order, given);
}

type BeginnerParts = {
  /** As the program was started, its data folder without the demo's own. */
  readonly given: StartOptions;
  /** Whether a watch of a real night runs. */
  readonly isWatching: () => boolean;
  /** Has the program start again with these. */
  readonly startWith: (options: StartOptions) => void;
  /** What kept the program from starting with the last choice; null: nothing did. */
  readonly refusal: string | null;
};

/** Begins nights for the page: looks for cameras, tries one, and has the program start with it. */
export class PageBeginner implements NightBeginner {
  readonly #parts: BeginnerParts;

  constructor(parts: BeginnerParts) {
    this.#parts = parts;
  }

  view(): BeginView {
    const { given, refusal } = this.#parts;
    return { last: readChoice(resolve(given.data), () => undefined), refusal };
  }

  async found(): Promise<FoundCameras> {
    return await camerasOnUsb();
  }

  async tryCamera(address: string): Promise<CameraOffer> {
    if (this.#parts.isWatching()) throw new NightError("settings.invalid", beginWords.watchRuns);
    const target = cameraTargetOf(address);
    if (target.kind === "virtual") throw new NightError("usage.invalid", beginWords.needsCamera);
    return await askCamera(address, target);
  }

  async begin(order: BeginOrder) {
    const { given, startWith } = this.#parts;
    placeOf({ ...order, elevationM: order.elevationM ?? 0 });
    settingsChange(order.settings, exposureSettings(given));
    await this.tryCamera(order.camera);
    writeChoice(resolve(given.data), order);
    return {
      view: { last: order, refusal: null },
      start: () => startWith(optionsOf(order, given)),
    };
  }
}

function readChoice(dataDir: string, print: (line: string) => void): BeginOrder | null {
  const file = join(dataDir, CHOICE_FILE);
  try {
    return v.parse(beginOrderSchema, JSON.parse(readFileSync(file, "utf8")));
  } catch (thrown) {
    if ((thrown as NodeJS.ErrnoException).code !== "ENOENT") {
      print(beginWords.unreadable(file, (thrown as Error).message));
    }
    return null;
  }
}

function writeChoice(dataDir: string, order: BeginOrder): void {
  mkdirSync(dataDir, { recursive: true });
  writeDurablySync(join(dataDir, CHOICE_FILE), `${JSON.stringify(order, null, 2)}\n`);
}

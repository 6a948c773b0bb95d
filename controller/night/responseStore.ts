import { mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { startToneResponse, type ToneResponse } from "../../core/photometry/response.ts";
import type { CameraDescription } from "../cameras/camera.ts";
import { writeDurablySync } from "../durableWrite.ts";

/** Keeps what was learned of each camera's tone curve for its next night, in `DATA/cameras/`. */
export class ResponseStore {
  readonly #folder: string;

  constructor(dataDir: string) {
    this.#folder = join(dataDir, "cameras");
  }

  /** null: this camera is new, or what was kept is not readable and is learned again. */
  load(camera: CameraDescription): ToneResponse | null {
    try {
      const kept: unknown = JSON.parse(readFileSync(this.#path(camera), "utf8"));
      return hasShapeOf(startToneResponse(), kept) ? (kept as ToneResponse) : null;
    } catch {
      // Nothing kept, or damaged: the night itself teaches the curve again.
      return null;
    }
  }

  save(camera: CameraDescription, response: ToneResponse): void {
    mkdirSync(this.#folder, { recursive: true });
    writeDurablySync(this.#path(camera), `${JSON.stringify(response)}\n`);
  }

  #path(camera: CameraDescription): string {
    const name = `${camera.label}_${camera.serialNumber}`.replace(/[^\p{L}\p{N}.-]+/gu, "-");
    return join(this.#folder, `${name.slice(0, 100)}.response.json`);
  }
}

/** The same keys, the same kinds of value, lists of the same length: written by this version. */
function hasShapeOf(model: unknown, value: unknown): boolean {
  if (typeof model === "number") return typeof value === "number" && Number.isFinite(value);
  if (typeof model !== "object" || model === null) return typeof model === typeof value;
  if (typeof value !== "object" || value === null) return false;
  const keys = Object.keys(model);
  return (
    Array.isArray(model) === Array.isArray(value) &&
    keys.length === Object.keys(value).length &&
    keys.every((key) =>
      hasShapeOf(model[key as keyof typeof model], value[key as keyof typeof value]),
    )
  );
}

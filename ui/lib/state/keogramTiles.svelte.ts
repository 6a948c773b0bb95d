import { fetchKeogram, type CameraNight } from "../api/client.ts";
import type { TracePoint } from "./tracePoint.ts";

/** Columns in one canvas: below every browser's limit. */
const TILE_COLUMNS = 4096;

/** The first request is small, so that something is seen soon; each next one is twice as large. */
const REQUEST_COLUMNS_MIN = 128;
const REQUEST_COLUMNS_MAX = 8192;

/** Slices are asked for this long after a frame came, so that one request serves several. */
const GATHER_MS = 250;

/** The slices of one camera's frames of a night, fetched in ranges and kept as columns of a few canvases. */
export class KeogramTiles {
  /** Rises whenever new slices are here. */
  version = $state.raw(0);
  #of: CameraNight | null = null;
  #tiles: HTMLCanvasElement[] = [];
  /** By frame index. */
  #here: boolean[] = [];
  #timer: ReturnType<typeof setTimeout> | undefined;
  #isFetching = false;
  #requestColumns = REQUEST_COLUMNS_MIN;
  #points: readonly TracePoint[] = [];

  /** Says which frames there are; slices that are missing are fetched soon. */
  want(of: CameraNight | null, points: readonly TracePoint[]): void {
    if (of?.nightId !== this.#of?.nightId || of?.cameraId !== this.#of?.cameraId) {
      this.#of = of;
      this.#requestColumns = REQUEST_COLUMNS_MIN;
      this.#tiles = [];
      this.#here = [];
      this.version += 1;
    }
    this.#points = points;
    this.#later();
  }

  has(frameIndex: number): boolean {
    return this.#here[frameIndex] === true;
  }

  /** Where a frame's slice lies: a canvas and the column in it. */
  columnOf(frameIndex: number): { tile: HTMLCanvasElement; x: number } | null {
    const tile = this.#tiles[Math.floor(frameIndex / TILE_COLUMNS)];
    if (tile === undefined || this.#here[frameIndex] !== true) return null;
    return { tile, x: frameIndex % TILE_COLUMNS };
  }

  close(): void {
    clearTimeout(this.#timer);
    this.#of = null;
  }

  #later(): void {
    if (this.#timer !== undefined || this.#isFetching) return;
    this.#timer = setTimeout(() => {
      this.#timer = undefined;
      void this.#fetchMissing();
    }, GATHER_MS);
  }

  async #fetchMissing(): Promise<void> {
    const of = this.#of;
    const missing = this.#points.filter(
      ({ frameIndex, hasFile }) => hasFile && this.#here[frameIndex] !== true,
    );
    const first = missing[0];
    if (of === null || first === undefined) return;
    const fromIndex = first.frameIndex;
    const last = missing.findLast(
      ({ frameIndex }) => frameIndex < fromIndex + this.#requestColumns,
    );
    const count = (last?.frameIndex ?? fromIndex) - fromIndex + 1;
    this.#isFetching = true;
    let didCome = false;
    try {
      const picture = await fetchKeogram(of, { fromIndex, count });
      if (of !== this.#of) {
        // Another night or camera was opened meanwhile; its slices are asked for next.
        didCome = true;
        return;
      }
      this.#place(picture, fromIndex);
      picture.close();
      didCome = true;
      this.#requestColumns = Math.min(REQUEST_COLUMNS_MAX, this.#requestColumns * 2);
    } catch {
      // The link is watched elsewhere; the slices are asked for again with the next frame.
    } finally {
      this.#isFetching = false;
      if (didCome) this.#later();
    }
  }

  #place(picture: ImageBitmap, fromIndex: number): void {
    for (let at = 0; at < picture.width; at += 1) this.#here[fromIndex + at] = true;
    for (let at = 0; at < picture.width;) {
      const number = Math.floor((fromIndex + at) / TILE_COLUMNS);
      const x = (fromIndex + at) % TILE_COLUMNS;
      const width = Math.min(picture.width - at, TILE_COLUMNS - x);
      const tile = (this.#tiles[number] ??= newTile(picture.height));
      const context = tile.getContext("2d");
      context?.clearRect(x, 0, width, picture.height);
      context?.drawImage(picture, at, 0, width, picture.height, x, 0, width, picture.height);
      at += width;
    }
    this.version += 1;
  }
}

function newTile(height: number): HTMLCanvasElement {
  const tile = document.createElement("canvas");
  tile.width = TILE_COLUMNS;
  tile.height = height;
  return tile;
}

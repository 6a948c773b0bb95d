import type { Worker } from "node:worker_threads";
import { startWorker } from "../workers/startWorker.ts";
import type { Picture, PictureOrder, PictureSource } from "./picture.ts";
import type { FromPictures, ToPictures } from "./pictureWorker.ts";
import type { SimulatedView } from "./simulatedView.ts";

/** A JPEG of a night sky with its grain, bits a pixel; only used until the first file is written. */
const TYPICAL_BITS_PER_PIXEL = 3;

type Waiting = {
  readonly resolve: (picture: Picture) => void;
  readonly reject: (why: Error) => void;
};

/**
 * Pictures of a simulated sky, made in a thread of their own. The thread takes a while to work out
 * its geometry; the camera answers meanwhile, and the first frame waits in its memory.
 */
export class SimulatedPictures implements PictureSource {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly typicalBytes: number;
  readonly #worker: Worker;
  readonly #waiting = new Map<number, Waiting>();
  #lastRequestId = 0;
  #isClosing = false;

  /** @param onDead  The thread has ended by itself: no more pictures. */
  constructor(view: SimulatedView, onDead: (why: Error) => void) {
    this.widthPx = view.widthPx;
    this.heightPx = view.heightPx;
    this.typicalBytes = (view.widthPx * view.heightPx * TYPICAL_BITS_PER_PIXEL) / 8;
    const file = new URL("./pictureWorker.ts", import.meta.url);
    this.#worker = startWorker(file, { workerData: view });
    const fail = (error: Error): void => {
      for (const { reject } of this.#waiting.values()) reject(error);
      this.#waiting.clear();
      if (!this.#isClosing) onDead(error);
    };
    this.#worker.on("message", (message: FromPictures) => this.#settle(message));
    this.#worker.once("error", fail);
    this.#worker.once("exit", () => fail(new Error("the picture thread has ended")));
  }

  develop(order: PictureOrder): Promise<Picture> {
    this.#lastRequestId += 1;
    const requestId = this.#lastRequestId;
    return new Promise((resolve, reject) => {
      this.#waiting.set(requestId, { resolve, reject });
      this.#worker.postMessage({ requestId, order } satisfies ToPictures);
    });
  }

  async close(): Promise<void> {
    this.#isClosing = true;
    await this.#worker.terminate();
  }

  #settle(message: FromPictures): void {
    const waiting = this.#waiting.get(message.requestId);
    this.#waiting.delete(message.requestId);
    if (message.kind === "developed") waiting?.resolve(message.picture);
    else waiting?.reject(new Error(message.why));
  }
}

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

/** Pictures of a simulated sky, made in a thread of their own. */
class SimulatedPictures implements PictureSource {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly typicalBytes: number;
  readonly #worker: Worker;
  readonly #waiting = new Map<number, Waiting>();
  #lastRequestId = 0;

  constructor(view: SimulatedView, worker: Worker) {
    this.widthPx = view.widthPx;
    this.heightPx = view.heightPx;
    this.typicalBytes = (view.widthPx * view.heightPx * TYPICAL_BITS_PER_PIXEL) / 8;
    this.#worker = worker;
    worker.on("message", (message: FromPictures) => this.#settle(message));
    worker.on("error", (error) => this.#failAll(error));
    worker.on("exit", () => this.#failAll(new Error("the picture thread has ended")));
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
    await this.#worker.terminate();
  }

  #settle(message: FromPictures): void {
    if (message.kind === "ready") return;
    const waiting = this.#waiting.get(message.requestId);
    this.#waiting.delete(message.requestId);
    if (message.kind === "developed") waiting?.resolve(message.picture);
    else waiting?.reject(new Error(message.why));
  }

  #failAll(error: Error): void {
    for (const { reject } of this.#waiting.values()) reject(error);
    this.#waiting.clear();
  }
}

/** Starts the picture thread and waits until it is ready for the first frame. */
export function startSimulatedPictures(view: SimulatedView): Promise<PictureSource> {
  const worker = startWorker(new URL("./pictureWorker.ts", import.meta.url), { workerData: view });
  return new Promise((resolve, reject) => {
    worker.once("error", reject);
    worker.on("message", function onFirst(message: FromPictures) {
      if (message.kind !== "ready") return;
      worker.off("message", onFirst);
      worker.off("error", reject);
      resolve(new SimulatedPictures(view, worker));
    });
  });
}

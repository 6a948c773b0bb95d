import type { Worker } from "node:worker_threads";
import { startWorker } from "../workers/startWorker.ts";
import type { Picture, PictureOrder } from "./picture.ts";
import type { FromPictures, ToPictures } from "./pictureWorker.ts";
import type { SimulatedView } from "./simulatedView.ts";

type Waiting = {
  readonly resolve: (picture: Picture) => void;
  readonly reject: (why: Error) => void;
};

/** One thread that makes pictures, from this side. */
export class PictureThread {
  /** Resolves when the thread has worked out the frame's geometry. */
  readonly ready: Promise<void>;
  readonly #worker: Worker;
  readonly #waiting = new Map<number, Waiting>();
  #noteReady: () => void = () => undefined;
  #lastRequestId = 0;
  #isClosing = false;

  /** @param onDead  The thread has ended by itself: no more pictures. */
  constructor(view: SimulatedView, onDead: (why: Error) => void) {
    this.ready = new Promise((resolve) => (this.#noteReady = resolve));
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

  /** Pictures asked for and not made yet. */
  get waitingCount(): number {
    return this.#waiting.size;
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
    if (message.kind === "ready") return this.#noteReady();
    const waiting = this.#waiting.get(message.requestId);
    this.#waiting.delete(message.requestId);
    waiting?.resolve(message.picture);
  }
}

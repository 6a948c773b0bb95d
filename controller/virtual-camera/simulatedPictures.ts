import type { Picture, PictureOrder, PictureSource } from "./picture.ts";
import { PictureThread } from "./pictureThread.ts";
import type { SimulatedView } from "./simulatedView.ts";

/** A JPEG of a night sky with its grain, bits a pixel; only used until the first file is written. */
const TYPICAL_BITS_PER_PIXEL = 3;

/**
 * Pictures of a simulated sky, made in threads of their own. A thread takes a while to work out its
 * geometry; the camera answers meanwhile, and the first frame waits in its memory.
 *
 * The short frames of dusk may come faster than one thread makes pictures beside other work. A
 * second one shares them; it prepares itself once the first is ready, so as not to hold that up.
 */
export class SimulatedPictures implements PictureSource {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly typicalBytes: number;
  readonly #threads: PictureThread[];
  /** The second thread while it is not ready yet. */
  #preparing: PictureThread | null = null;
  #isClosed = false;

  /** @param onDead  A thread has ended by itself: no more pictures. */
  constructor(view: SimulatedView, onDead: (why: Error) => void) {
    this.widthPx = view.widthPx;
    this.heightPx = view.heightPx;
    this.typicalBytes = (view.widthPx * view.heightPx * TYPICAL_BITS_PER_PIXEL) / 8;
    const first = new PictureThread(view, onDead);
    this.#threads = [first];
    void first.ready.then(() => this.#addSecond(view, onDead));
  }

  /** The least busy thread makes the picture; which one leaves no trace in it. */
  develop(order: PictureOrder): Promise<Picture> {
    const thread = this.#threads.reduce((best, other) =>
      other.waitingCount < best.waitingCount ? other : best,
    );
    return thread.develop(order);
  }

  async close(): Promise<void> {
    this.#isClosed = true;
    await this.#preparing?.close();
    await Promise.all(this.#threads.map((thread) => thread.close()));
  }

  #addSecond(view: SimulatedView, onDead: (why: Error) => void): void {
    if (this.#isClosed) return;
    const thread = new PictureThread(view, onDead);
    this.#preparing = thread;
    void thread.ready.then(() => {
      this.#preparing = null;
      this.#threads.push(thread);
    });
  }
}

import { availableParallelism } from "node:os";
import type { Worker } from "node:worker_threads";
import { archiveError } from "../archive/archiveError.ts";
import { startWorker } from "../workers/startWorker.ts";
import type { FrameAnswer, FrameTask } from "./frameTasks.ts";

type Waiting = {
  readonly resolve: (answer: FrameAnswer) => void;
  readonly reject: (reason: unknown) => void;
  readonly path: string;
};
type Message = {
  readonly id: number;
  readonly answer?: FrameAnswer;
  readonly failure?: { readonly code: string; readonly message: string };
};

/** Worker threads that measure and render frames, as many as the machine has processors. */
export class FramePool {
  readonly #workers: Worker[];
  readonly #free: Worker[];
  readonly #queue: { task: FrameTask; waiting: Waiting }[] = [];
  readonly #waiting = new Map<number, { waiting: Waiting; worker: Worker }>();
  #nextId = 0;
  #isClosed = false;

  constructor(width = Math.max(1, availableParallelism())) {
    this.#workers = Array.from({ length: width }, () => this.#start());
    this.#free = [...this.#workers];
  }

  get width(): number {
    return this.#workers.length;
  }

  run(task: FrameTask): Promise<FrameAnswer> {
    return new Promise((resolve, reject) => {
      const path = "outPath" in task ? task.outPath : "path" in task ? task.path : "";
      this.#queue.push({ task, waiting: { resolve, reject, path } });
      this.#feed();
    });
  }

  /** One task for each worker; only when nothing else is under way. */
  async runOnEach(task: FrameTask): Promise<readonly FrameAnswer[]> {
    return Promise.all(this.#workers.map(() => this.run(task)));
  }

  async close(): Promise<void> {
    this.#isClosed = true;
    await Promise.all(this.#workers.map((worker) => worker.terminate()));
    const closed = new Error("the delivery was stopped");
    for (const { waiting } of [...this.#queue, ...this.#waiting.values()]) waiting.reject(closed);
    this.#queue.length = 0;
    this.#waiting.clear();
  }

  #start(): Worker {
    const worker = startWorker(new URL("./frameWorker.ts", import.meta.url));
    worker.on("message", (message: Message) => {
      const entry = this.#waiting.get(message.id);
      if (entry === undefined) return;
      this.#waiting.delete(message.id);
      this.#free.push(worker);
      this.#settle(entry.waiting, message);
      this.#feed();
    });
    worker.on("error", (error) => {
      for (const [id, entry] of this.#waiting) {
        if (entry.worker !== worker) continue;
        this.#waiting.delete(id);
        entry.waiting.reject(error);
      }
    });
    return worker;
  }

  #settle(waiting: Waiting, message: Message): void {
    if (message.answer !== undefined) return waiting.resolve(message.answer);
    const { code = "", message: text = "" } = message.failure ?? {};
    waiting.reject(archiveError(Object.assign(new Error(text), { code }), waiting.path));
  }

  #feed(): void {
    while (this.#queue.length > 0 && this.#free.length > 0 && !this.#isClosed) {
      const worker = this.#free.shift()!;
      const { task, waiting } = this.#queue.shift()!;
      const id = this.#nextId;
      this.#nextId += 1;
      this.#waiting.set(id, { waiting, worker });
      worker.postMessage({ id, task });
    }
  }
}

import { daemonWords } from "../../core/words/daemonWords.ts";
import { asNightError } from "../../core/errors.ts";
import type { VirtualCameraProcess } from "../virtual-camera/process.ts";

/** Long enough for a viewer to see that the camera is gone, real milliseconds. */
const AGAIN_AFTER_MS = 3000;

type DemoCameraParts = {
  /** @param port  0: any free one. */
  readonly start: (port: number) => Promise<VirtualCameraProcess>;
  /** One line for the terminal. */
  readonly print: (line: string) => void;
};

/** Keeps the demo's camera up: one that dies is started again where the watch looks for it. */
export class DemoCamera {
  readonly #parts: DemoCameraParts;
  #process: VirtualCameraProcess | null = null;
  #timer: NodeJS.Timeout | undefined;
  #isClosed = false;

  constructor(parts: DemoCameraParts) {
    this.#parts = parts;
  }

  /** Where it listens; null: it has not been started. */
  get address(): Pick<VirtualCameraProcess, "host" | "port"> | null {
    return this.#process;
  }

  /** @throws NightError `camera.unreachable` when it does not come up. */
  async start(port = 0): Promise<void> {
    const process = await this.#parts.start(port);
    this.#process = process;
    if (this.#isClosed) return process.stop();
    void process.ended.then(() => this.#again(daemonWords.virtualCamera.died));
  }

  async close(): Promise<void> {
    this.#isClosed = true;
    clearTimeout(this.#timer);
    await this.#process?.stop();
  }

  #again(why: string): void {
    if (this.#isClosed) return;
    this.#parts.print(daemonWords.virtualCamera.startsAgain(why, AGAIN_AFTER_MS / 1000));
    this.#timer = setTimeout(() => {
      this.start(this.#process?.port).catch((thrown: unknown) =>
        this.#again(asNightError(thrown).message),
      );
    }, AGAIN_AFTER_MS);
  }
}

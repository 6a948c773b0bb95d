import type { BenchView } from "../../../core/api/benchMessages.ts";
import type { FocusView, FramingView } from "../../../core/api/focusMessages.ts";
import * as benchApi from "../api/benchClient.ts";
import * as focusApi from "../api/focusClient.ts";
import { sentenceOf } from "../api/sentence.ts";

/** What takes a camera in hand before dark: focus aid, test frame, bench check. */
export class CameraAids {
  focus = $state.raw<FocusView>({ kind: "off" });
  framing = $state.raw<FramingView>({ kind: "none" });
  focusRefusal = $state<string | null>(null);
  bench = $state.raw<BenchView>({ kind: "none" });
  benchRefusal = $state<string | null>(null);
  isBenchOpen = $state(false);

  /** Asks how everything stands. */
  async look(): Promise<void> {
    await Promise.all([this.#lookAtFocus(), this.#askBench(benchApi.fetchBench)]);
  }

  /** The same for what is at work now; called again and again. */
  lookAtRunning(): void {
    const isFramingOpen =
      this.framing.kind === "running" ||
      (this.framing.kind === "done" && this.framing.stars === null);
    if (this.focus.kind === "running" || isFramingOpen) void this.#lookAtFocus();
    if (this.bench.kind === "running") void this.#askBench(benchApi.fetchBench);
  }

  async switchFocus(cameraId: string, isOn: boolean): Promise<void> {
    await this.#order(() => (isOn ? focusApi.startFocus(cameraId) : focusApi.stopFocus()));
  }

  async takeTestFrame(cameraId: string): Promise<void> {
    await this.#order(() => focusApi.startFraming(cameraId));
  }

  async startBench(cameraId: string): Promise<void> {
    await this.#askBench(() => benchApi.startBench(cameraId));
  }

  async stopBench(): Promise<void> {
    await this.#askBench(benchApi.stopBench);
  }

  async #order(work: () => Promise<unknown>): Promise<void> {
    this.focusRefusal = null;
    try {
      await work();
      await this.#lookAtFocus();
    } catch (thrown) {
      this.focusRefusal = sentenceOf(thrown);
    }
  }

  async #lookAtFocus(): Promise<void> {
    try {
      [this.focus, this.framing] = await Promise.all([
        focusApi.fetchFocus(),
        focusApi.fetchFraming(),
      ]);
    } catch (thrown) {
      this.focusRefusal = sentenceOf(thrown);
    }
  }

  async #askBench(work: () => Promise<BenchView>): Promise<void> {
    this.benchRefusal = null;
    try {
      this.bench = await work();
      if (this.bench.kind === "running") this.isBenchOpen = true;
    } catch (thrown) {
      this.benchRefusal = sentenceOf(thrown);
    }
  }
}

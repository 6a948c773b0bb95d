import { fetchCurves } from "../api/client.ts";
import { NightTrace } from "../state/nightTrace.svelte.ts";
import { ShownFrame } from "../state/shownFrame.svelte.ts";

type FrameName = { readonly cameraId: string; readonly frameIndex: number };

/** One camera's strip of a past night, and the frame of it that is looked at. */
export class NightReview {
  readonly trace = new NightTrace();
  selectedIndex = $state<number | null>(null);
  #chosenCameraId = $state<string | null>(null);
  #cameraIds = $state.raw<readonly string[]>([]);
  /** Frame to be shown once its camera's strip is here. */
  #indexToOpen: number | null = null;

  readonly cameraId = $derived(
    this.#chosenCameraId !== null && this.#cameraIds.includes(this.#chosenCameraId)
      ? this.#chosenCameraId
      : (this.#cameraIds[0] ?? null),
  );
  readonly points = $derived(this.trace.points);
  readonly frame = new ShownFrame({
    points: () => this.points,
    chosenIndex: () => this.selectedIndex,
    choose: (frameIndex) => {
      this.selectedIndex = frameIndex;
      this.#indexToOpen = null;
    },
  });

  /** The cameras that the night has. */
  setCameras(cameraIds: readonly string[]): void {
    this.#cameraIds = cameraIds;
  }

  get cameraIds(): readonly string[] {
    return this.#cameraIds;
  }

  chooseCamera(cameraId: string | null): void {
    this.#chosenCameraId = cameraId;
    this.#indexToOpen = null;
  }

  /** Shows what an address names, now or as soon as that camera's strip is here. */
  arrive({ cameraId, frameIndex }: { cameraId: string | null; frameIndex: number | null }): void {
    if (cameraId !== null) this.#chosenCameraId = cameraId;
    this.selectedIndex = this.#indexToOpen = frameIndex;
  }

  /** One camera's strip at a time: a frame's index is unique within its camera. */
  open(nightId: string, cameraId: string | null): void {
    if (this.trace.nightId === nightId && this.trace.cameraId === cameraId) return;
    this.trace.open(nightId, cameraId);
    this.selectedIndex = this.#indexToOpen;
    this.frame.peekIndex = null;
    this.#indexToOpen = null;
  }

  /** Fetches the strip's points again. */
  async refresh(): Promise<void> {
    const { of } = this.trace;
    if (of === null) return;
    this.trace.applyCurves(of.nightId, await fetchCurves(of, 0), of.cameraId);
  }

  /** Opens a frame of any camera on the strip. */
  openFrame({ cameraId, frameIndex }: FrameName): void {
    if (cameraId === this.cameraId) return this.frame.select(frameIndex);
    this.#indexToOpen = frameIndex;
    this.#chosenCameraId = cameraId;
  }
}

import { fetchCurves } from "../api/client.ts";
import type { KeyAction } from "../keys/keys.ts";
import { NightTrace } from "../state/nightTrace.svelte.ts";
import { positionOf } from "../strip/nearest.ts";

type FrameName = { readonly cameraId: string; readonly frameIndex: number };

/** One camera's strip of a past night, and the frame of it that is looked at. */
export class NightReview {
  readonly trace = new NightTrace();
  selectedIndex = $state<number | null>(null);
  /** Under the pointer; it goes before what was selected. */
  peekIndex = $state<number | null>(null);
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
  /** The frame whose shutter is open, or one that was pruned, has no picture to open with. */
  readonly #opening = $derived(
    this.points.findLast(({ hasFile }) => hasFile) ?? this.points.at(-1) ?? null,
  );
  readonly shownIndex = $derived(
    this.peekIndex ?? this.selectedIndex ?? this.#opening?.frameIndex ?? null,
  );
  readonly shown = $derived(
    this.shownIndex === null
      ? null
      : (this.points[positionOf(this.points, this.shownIndex)] ?? null),
  );

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
    [this.selectedIndex, this.peekIndex] = [this.#indexToOpen, null];
    this.#indexToOpen = null;
  }

  /** Fetches the strip's points again. */
  async refresh(): Promise<void> {
    const { of } = this.trace;
    if (of === null) return;
    this.trace.applyCurves(of.nightId, await fetchCurves(of, 0), of.cameraId);
  }

  select(frameIndex: number): void {
    [this.selectedIndex, this.peekIndex] = [frameIndex, null];
    this.#indexToOpen = null;
  }

  /** Opens a frame of any camera on the strip. */
  openFrame({ cameraId, frameIndex }: FrameName): void {
    if (cameraId === this.cameraId) return this.select(frameIndex);
    this.#indexToOpen = frameIndex;
    this.#chosenCameraId = cameraId;
  }

  /** A key's action; true when it was one of the strip's. */
  act(action: KeyAction): boolean {
    const steps: Partial<Record<KeyAction, number>> = {
      previousFrame: -1,
      nextFrame: 1,
      tenBack: -10,
      tenOn: 10,
      firstFrame: -this.points.length,
      newestFrame: this.points.length,
    };
    const by = steps[action];
    if (by !== undefined) this.step(by);
    return by !== undefined;
  }

  /** So many frames on; below 0: back. */
  step(by: number): void {
    const at = this.shownIndex === null ? -1 : positionOf(this.points, this.shownIndex);
    const to = this.points[Math.min(this.points.length - 1, Math.max(0, at + by))];
    if (to) this.select(to.frameIndex);
  }
}

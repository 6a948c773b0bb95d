import { untrack } from "svelte";

import type { WatchView } from "../../../core/api/messages.ts";
import type { ExposureSettings } from "../../../core/exposure/settings.ts";
import type { FrameRecord } from "../../../core/watch/frameRecord.ts";
import { changeSettings, orderWatch } from "../api/client.ts";
import { sentenceOf } from "../api/sentence.ts";
import type { KeyAction } from "../keys/keys.ts";
import type { Daemon } from "../state/daemon.svelte.ts";
import { requestFrame } from "../state/frameRequest.ts";
import { HandOrders } from "../state/handOrders.svelte.ts";
import { marksOf } from "../state/marks.ts";
import { NightSky } from "../state/nightSky.svelte.ts";
import type { NightTrace } from "../state/nightTrace.svelte.ts";
import type { Places } from "../state/places.svelte.ts";
import type { Preferences } from "../state/preferences.svelte.ts";
import { ShownFrame } from "../state/shownFrame.svelte.ts";
import { ShownRecord } from "../state/shownRecord.svelte.ts";
import { firstFrom } from "../strip/nearest.ts";
import { StripView } from "../strip/stripView.svelte.ts";
import { wholeNight } from "../strip/timeScale.ts";

/** What the page shares with every part of it. */
type SharedByPage = {
  readonly daemon: Daemon;
  /** The watch of the camera that is looked at. */
  readonly watch: WatchView | null;
  readonly trace: NightTrace;
  readonly places: Places;
  readonly preferences: Preferences;
};

const NEWEST = { nightId: null, frameIndex: null } as const;

/** What the view of a running watch shows, and what the hand does there. */
export class WatchModel {
  readonly #page: () => SharedByPage;
  readonly sky = new NightSky();
  readonly hand: HandOrders;
  readonly shown: ShownFrame;
  readonly view: StripView;
  readonly #known: ShownRecord;
  areSettingsOpen = $state(false);
  settingsRefusal = $state<string | null>(null);

  readonly watch = $derived.by(() => this.#page().watch);
  readonly night = $derived.by(() => this.#page().daemon.night);
  readonly points = $derived.by(() => this.#page().trace.points);
  readonly of = $derived.by(() => this.#page().trace.of);
  readonly nowUtcMs = $derived.by(() => this.#page().daemon.nightNowUtcMs ?? 0);
  readonly marks = $derived(this.watch === null ? [] : marksOf(this.watch));

  constructor(page: () => SharedByPage) {
    this.#page = page;
    this.hand = new HandOrders({ watch: () => this.watch, send: orderWatch, sentenceOf });
    this.shown = new ShownFrame({
      points: () => this.points,
      chosenIndex: () => this.#page().places.current.frameIndex,
      choose: (frameIndex) => {
        const isNewest = frameIndex === this.shown.newest?.frameIndex;
        this.#page().places.go(
          isNewest ? NEWEST : { nightId: this.night?.nightId ?? null, frameIndex },
        );
      },
    });
    this.#known = new ShownRecord({
      cameraId: () => this.watch?.cameraId ?? null,
      point: () => this.shown.point,
      pushed: () => this.watch?.newest ?? null,
    });
    this.view = new StripView(() =>
      wholeNight({
        nightStartUtcMs: this.night?.startUtcMs ?? 0,
        firstOpenedUtcMs: this.points[0]?.openedUtcMs ?? null,
        newestUtcMs: this.points.at(-1)?.openedUtcMs ?? null,
        endsUtcMs: this.watch?.endsUtcMs ?? null,
      }),
    );
  }

  /** What is known of the frame shown; null: nothing yet. */
  get record(): FrameRecord | null {
    return this.#known.record;
  }

  /** Keeps address, strip and frame in step, while the component that calls it lives. */
  follow(): void {
    const { places } = this.#page();
    // The address and the strip say the same stretch, whichever of them is changed.
    $effect.pre(() => {
      void places.arrivals;
      untrack(() => this.view.show(places.current.stretch));
    });
    $effect(() => {
      const stretch = this.view.isWhole ? null : this.view.shown;
      untrack(() => places.go({ stretch }));
    });
    // A link into another night leads to the morning after it.
    $effect(() => {
      const { nightId } = places.current;
      if (nightId !== null && this.night !== null && nightId !== this.night.nightId) {
        untrack(() => places.go({ part: "morning" }));
      }
    });
    $effect(() => {
      if (this.night !== null) void this.sky.open(this.night);
    });
    // A strip that was zoomed into goes along with the newest frame, or with the one that is stepped to.
    $effect(() => {
      const utcMs = this.shown.point?.openedUtcMs;
      if (utcMs === undefined || this.shown.peekIndex !== null) return;
      untrack(() => this.view.bringIn(utcMs));
    });
    $effect(() => this.#requestRecord());
  }

  chooseCamera(cameraId: string): void {
    this.shown.peekIndex = null;
    this.settingsRefusal = null;
    this.hand.dismiss();
    this.#page().places.go({ cameraId, frameIndex: null });
  }

  followNewest(): void {
    this.shown.peekIndex = null;
    this.#page().places.go(NEWEST);
  }

  /** Shows the first frame from a moment on, else the newest. */
  selectTime(utcMs: number): void {
    const at = this.points[firstFrom(this.points, utcMs)] ?? this.points.at(-1);
    if (at) this.shown.select(at.frameIndex);
  }

  toggleSettings(): void {
    this.areSettingsOpen = !this.areSettingsOpen;
  }

  async changeSettings(settings: Partial<ExposureSettings>): Promise<void> {
    if (this.watch === null) return;
    this.settingsRefusal = null;
    try {
      await changeSettings(this.watch.cameraId, settings);
    } catch (thrown) {
      this.settingsRefusal = sentenceOf(thrown);
    }
  }

  /** A key's action; true when it was one of the watch's. */
  act(action: KeyAction): boolean {
    switch (action) {
      case "newestFrame":
        this.followNewest();
        return true;
      case "figures":
        this.#toggleFigures();
        return true;
      case "settings":
        this.toggleSettings();
        return true;
      default:
        return (
          this.shown.act(action) ||
          this.view.act(action, this.shown.point?.openedUtcMs ?? null) ||
          this.hand.act(action)
        );
    }
  }

  closeSettings(): boolean {
    const wereOpen = this.areSettingsOpen;
    this.areSettingsOpen = false;
    return wereOpen;
  }

  #toggleFigures(): void {
    const { preferences } = this.#page();
    preferences.areFiguresAway = !preferences.areFiguresAway;
  }

  #requestRecord(): (() => void) | undefined {
    const { of, watch } = this;
    const { point, peekIndex } = this.shown;
    // A reading that has come since makes the frame worth asking for again.
    void point?.fromTargetStops;
    if (point === null || of === null) return undefined;
    const { frameIndex } = point;
    if (watch?.newest?.frameIndex === frameIndex) return undefined;
    const onrecord = this.#known.take.bind(this.#known);
    return requestFrame({ of, frameIndex, isPeek: peekIndex !== null, onrecord });
  }
}

import type { WatchCommand, WatchView } from "../../core/api/messages.ts";
import { asNightError } from "../../core/errors.ts";
import type { ExposureSettings } from "../../core/exposure/settings.ts";
import type { WatchEffect } from "../../core/watch/effects.ts";
import type { StartOrder, WatchEvent } from "../../core/watch/events.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { idleWatch } from "../../core/watch/idleWatch.ts";
import { isDiskRefusing } from "../../core/watch/knowledge.ts";
import { reduceWatch } from "../../core/watch/reduce.ts";
import type { WatchState } from "../../core/watch/state.ts";
import type { WatchFacts } from "../../core/watch/stateSentence.ts";
import { monotonicMs, type MonotonicMs, type UtcMs } from "../../core/units.ts";
import type { Catalogue } from "../archive/catalogue.ts";
import type { Camera, CameraDescription, CameraEvent } from "../cameras/camera.ts";
import type { Clock } from "../timing/clock.ts";
import type { Log } from "../log.ts";
import { OpenFrames } from "./openFrames.ts";
import type { FrameMeter } from "./frameMeter.ts";
import { FrameWork, refusal } from "./frameWork.ts";
import { WatchEvents } from "./watchEvents.ts";
import { watchEventOf, type BareWatchEvent } from "./watchEventOf.ts";
import { factsOf, viewOf, type ViewContext } from "./watchView.ts";

/** What a watch needs of the world; every part is handed in. */
type WatchParts = {
  readonly camera: Camera;
  readonly catalogue: Catalogue;
  readonly clock: Clock;
  /** Makes the meter once the camera has said which one it is. */
  readonly createMeter: (camera: CameraDescription) => FrameMeter;
  readonly log: Log;
  /** The state has changed in a way that the page shows. */
  readonly onChange: () => void;
  /** A frame is whole on disk, or its reading has come. */
  readonly onFrame: (frame: FrameRecord) => void;
  readonly onMissing: (frameIndex: number, why: string) => void;
  /** Folder inside `frames/` for this camera's files; "" for the night's first camera. */
  readonly framesFolder?: string;
  /** The watch is over and the camera released. */
  readonly onFinished: () => void;
};

/**
 * Carries out one camera's watch: takes events in from a queue, one at a time, asks the reducer,
 * performs the effects and feeds their answers back as events.
 */
export class WatchRunner {
  readonly #parts: WatchParts;
  readonly #frames: OpenFrames;
  readonly #work: FrameWork;
  readonly #events = new WatchEvents();
  #state: WatchState = idleWatch();
  #description: CameraDescription | null = null;
  #timer: AbortController | null = null;
  #isDraining = false;
  /** Decides soon on what waits; null: nothing waits. */
  #soon: NodeJS.Immediate | null = null;
  #isCutOff = false;

  constructor(parts: WatchParts) {
    this.#parts = parts;
    this.#frames = new OpenFrames(parts.catalogue, parts.camera.cameraId);
    this.#work = new FrameWork({
      ...parts,
      frames: this.#frames,
      take: (event) => this.#take(event),
      attempt: (what, write) => this.#attempt(what, write),
    });
    parts.camera.onEvent((event) => this.#fromCamera(event));
  }

  get cameraId(): string {
    return this.#parts.camera.cameraId;
  }

  get state(): WatchState {
    return this.#state;
  }

  get settings(): ExposureSettings {
    return this.#state.known.settings.exposure;
  }

  /** The watch as it stands now, for a reader who looks at the clock that `context` names. */
  view(context: Pick<ViewContext, "freeDiskBytes" | "clockText">): WatchView {
    const { catalogue, clock } = this.#parts;
    return viewOf(this.#state, {
      ...context,
      cameraId: this.cameraId,
      cameraLabel: this.#cameraLabel,
      newest: this.#frames.newest,
      frameCount: catalogue.frameCount(this.cameraId),
      nowMs: clock.monotonicMs(),
      utcOf: (atMs) => clock.utcOf(atMs),
    });
  }

  /** What the state of the whole night needs to know of this watch. */
  facts(): WatchFacts {
    const { newest } = this.#frames;
    return factsOf(this.#state, { cameraLabel: this.#cameraLabel, newest });
  }

  get #cameraLabel(): string {
    return this.#description?.label ?? this.cameraId;
  }

  /** The program's end came before the watch's own, and before any word to end it. */
  get isCutOff(): boolean {
    return this.#isCutOff;
  }

  description(): CameraDescription | null {
    return this.#description;
  }

  get meter(): FrameMeter | null {
    return this.#work.meter;
  }

  /** Frames that have arrived and are still being kept or metered. */
  get inHandCount(): number {
    return this.#work.inHandCount;
  }

  start(order: StartOrder): void {
    this.#take({ kind: "started", ...order });
  }

  command(command: Exclude<WatchCommand, { kind: "start" }>): void {
    switch (command.kind) {
      case "pause":
        return this.#take({
          kind: "paused",
          untilMs: this.#onClock(command.untilUtcMs) ?? undefined,
        });
      case "resume":
        return this.#take({ kind: "resumed" });
      case "stop":
        return this.#take({ kind: "stopped" });
      case "settings":
        return this.#take({ kind: "settingsChanged", exposure: command.settings });
    }
  }

  /** The program ends: the watch ends in order, and goes on when the program is started again. */
  endWithProgram(): void {
    const { phase, known } = this.#state;
    const isOver =
      ["idle", "ending", "finished"].includes(phase.kind) || known.hand.kind === "stop";
    this.#isCutOff = !isOver;
    this.#take({ kind: "stopped", isProgramEnding: true });
  }

  #onClock(at: UtcMs | null): MonotonicMs | null {
    return at === null ? null : monotonicMs(at - this.#parts.clock.origin.startUtcMs);
  }

  /** A sample of the sky light meter. */
  light(value: number): void {
    this.#hear({ kind: "lightSampled", value });
  }

  /** A reading of the climate sensor. */
  climate(temperatureC: number, humidityPercent: number | null): void {
    this.#hear({ kind: "climateRead", temperatureC, humidityPercent });
  }

  /** A GNSS receiver was heard: this computer's clock less its, milliseconds. */
  clock(oursLessGnssMs: number): void {
    this.#hear({ kind: "clockCompared", oursLessGnssMs });
  }

  /** What may send this computer to sleep; null: nothing. */
  sleep(lack: string | null): void {
    this.#take({ kind: "sleepGuarded", lack });
  }

  /** The night's place is known now, and with it when it ends; null: the Sun does not end it. */
  placeFound(dawnMs: MonotonicMs | null): void {
    this.#take({ kind: "placeFound", dawnMs });
  }

  /** Releases the camera at once, whatever is in hand. */
  async close(): Promise<void> {
    this.#timer?.abort();
    await this.#parts.camera.close();
    await this.#work.settled();
    this.#decide();
  }

  /** Decides at once, after everything that was heard before. */
  #take(event: BareWatchEvent, atMs?: MonotonicMs): void {
    this.#put(event, atMs);
    this.#decide();
  }

  /**
   * Puts down what camera or sensor says and decides soon: to decide is to write to the catalogue,
   * and the caller must not wait for a disk.
   */
  #hear(event: BareWatchEvent, atMs?: MonotonicMs): void {
    this.#put(event, atMs);
    this.#soon ??= setImmediate(() => this.#decide());
  }

  #put(event: BareWatchEvent, atMs: MonotonicMs = this.#parts.clock.monotonicMs()): void {
    this.#events.put({ ...event, atMs } as WatchEvent);
  }

  #decide(): void {
    if (this.#isDraining) return;
    if (this.#soon) clearImmediate(this.#soon);
    this.#soon = null;
    if (this.#events.count === 0) return;
    this.#isDraining = true;
    try {
      this.#tellLeftOut();
      for (let next = this.#events.next(); next; next = this.#events.next()) this.#step(next);
    } finally {
      this.#isDraining = false;
    }
    this.#parts.onChange();
  }

  #tellLeftOut(): void {
    const leftOut = this.#events.takeLeftOut();
    if (Object.keys(leftOut).length === 0) return;
    this.#parts.log.warn("watch.statuses_left_out", { cameraId: this.cameraId, ...leftOut });
  }

  #step(event: WatchEvent): void {
    const { catalogue, clock, log } = this.#parts;
    const { atMs, kind, ...body } = event;
    this.#attempt("archive.event", () =>
      catalogue.appendEvent({
        atMs,
        utcMs: clock.utcOf(atMs),
        kind,
        body: { cameraId: this.cameraId, ...body },
      }),
    );
    this.#note(event);
    const before = this.#state.phase.kind;
    try {
      const { state, effects } = reduceWatch(this.#state, event);
      this.#state = state;
      for (const effect of effects) this.#perform(effect);
    } catch (thrown) {
      // A mistake of ours costs one decision, not the night: the state stays, the wake in hand acts.
      const error = asNightError(thrown);
      log.error("watch.decision_failed", { code: error.code, sentence: error.message, kind });
    }
    const after = this.#state.phase.kind;
    if (after !== before) log.info("watch.phase", { from: before, to: after, by: kind });
    if (after === "finished" && before !== "finished") this.#parts.onFinished();
  }

  /** What an event changes in the frame's own record. */
  #note(event: WatchEvent): void {
    switch (event.kind) {
      case "shutterOpened":
        return this.#work.changeFrame(event.frameIndex, {
          openedUtcMs: this.#parts.clock.utcOf(event.atMs),
        });
      case "shutterClosed":
        return this.#work.changeFrame(event.frameIndex, {
          happened: event.happened,
          status: "taken",
        });
      case "readingArrived":
        return this.#work.changeFrame(event.frameIndex, { reading: event.reading });
      default:
        return;
    }
  }

  #perform(effect: WatchEffect): void {
    const { camera } = this.#parts;
    switch (effect.kind) {
      case "connectCamera":
        return camera.connect();
      case "expose":
        if (effect.probeStops !== 0) this.#work.noteProbe(effect.frameIndex);
        this.#attempt("archive.frame", () =>
          this.#frames.add({
            frameIndex: effect.frameIndex,
            cameraId: this.cameraId,
            status: "ordered",
            ordered: effect.exposure,
            reasons: effect.reasons,
            targetStops: effect.targetStops,
            openedUtcMs: null,
            happened: null,
            file: null,
            reading: null,
            pace: effect.pace,
          }),
        );
        return camera.expose({
          frameIndex: effect.frameIndex,
          exposure: effect.exposure,
          openAtMs: effect.openAtMs,
        });
      case "closeShutter":
        return camera.closeShutter(effect.frameIndex);
      case "keepFrame":
        return void this.#work.keep(effect.frameIndex);
      case "meterFrame":
        return void this.#work.meterFrame(effect.frameIndex);
      case "markMissing":
        this.#parts.log.warn("frame.missing", { frameIndex: effect.frameIndex, why: effect.why });
        this.#parts.onMissing(effect.frameIndex, effect.why);
        return this.#work.changeFrame(effect.frameIndex, { status: "missing" });
      case "readStatus":
        return camera.readStatus();
      case "reconcileCard":
        return void this.#work.reconcile(effect.beforeFrameIndex);
      case "wake":
        return this.#wakeAt(effect.atMs);
      case "closeCamera":
        return void this.#closeCamera();
    }
  }

  #wakeAt(atMs: MonotonicMs): void {
    this.#timer?.abort();
    const timer = new AbortController();
    this.#timer = timer;
    this.#parts.clock.sleepUntil(atMs, timer.signal).then(
      () => this.#take({ kind: "woke" }, atMs),
      () => {
        // Replaced by a newer wake.
      },
    );
  }

  #fromCamera(event: CameraEvent): void {
    const { log } = this.#parts;
    if (event.kind === "connected") {
      this.#description = event.description;
      this.#work.noteCamera(event.description);
      log.info("camera.connected", { ...event.description });
    }
    if (event.kind === "shutterClosed" && event.isIsoReported === false) {
      this.#work.noteUnreportedIso(event.frameIndex);
    }
    if (event.kind === "failed") log.warn("camera.failed", { ...event });
    if (event.kind !== "frameArrived") return this.#hearCamera(event);
    if (event.isProved !== false) return this.#arrived(event);
    void this.#work.place(event).then((placed) => placed && this.#arrived(placed));
  }

  #arrived(event: Extract<CameraEvent, { kind: "frameArrived" }>): void {
    this.#work.noteArrival(event);
    this.#hearCamera(event);
  }

  #hearCamera(event: CameraEvent): void {
    const isToneCurveKnown = this.#work.meter?.response.isSure ?? false;
    this.#hear(watchEventOf(event, isToneCurveKnown), "atMs" in event ? event.atMs : undefined);
  }

  async #closeCamera(): Promise<void> {
    this.#timer?.abort();
    await this.#parts.camera.close().catch((thrown: unknown) => {
      this.#parts.log.warn("camera.close_failed", { sentence: asNightError(thrown).message });
    });
    await this.#work.settled();
    this.#take({ kind: "cameraClosed" });
  }

  /** What the disk refuses is reported and costs the night nothing else. */
  #attempt(what: string, write: () => unknown): void {
    try {
      write();
    } catch (thrown) {
      const error = asNightError(thrown, "archive.disk_full");
      this.#parts.log.error(what, { code: error.code, sentence: error.message });
      // Reported once: reporting is an event, which the disk refuses in its turn.
      if (isDiskRefusing(this.#state.known)) return;
      this.#put({
        kind: "keepFailed",
        frameIndex: null,
        sentence: refusal(error.message),
      });
    }
  }
}

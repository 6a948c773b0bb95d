import { statfsSync } from "node:fs";
import { join } from "node:path";
import type {
  DaemonView,
  NightTimeline,
  NightSummary,
  ServerMessage,
  StateNotice,
  WatchCommand,
} from "../../core/api/messages.ts";
import { NightError, asNightError } from "../../core/errors.ts";
import type { StartOrder } from "../../core/watch/events.ts";
import type { CameraFacts } from "../../core/plan/checklist.ts";
import type { Stray } from "../../core/frames/stray.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { CameraKitFacts } from "../../core/plan/kitFromCamera.ts";
import { kitOfSettings } from "../../core/plan/kit.ts";
import type { PlanRequest } from "../../core/plan/plan.ts";
import { gapsOf, surgesOf } from "../../core/frames/timeline.ts";
import type { Framing } from "../../core/frames/keogramAxes.ts";
import { opticsOf, type Optics, type PictureFacts } from "../../core/photometry/optics.ts";
import { WATCH_ON, type HandWord } from "../../core/watch/handWord.ts";
import type { Outside } from "../../core/sky/light.ts";
import { outsideAt } from "../../core/sky/outside.ts";
import { isPlaced, placeOf } from "../../core/sky/place.ts";
import { nightState } from "../../core/watch/stateSentence.ts";
import type { EndedBy } from "../../core/watch/state.ts";
import type { MonotonicMs, UtcMs } from "../../core/units.ts";
import type { Catalogue } from "../archive/catalogue.ts";
import { markRunning } from "../archive/recover.ts";
import {
  endedByKey,
  framingKey,
  guardsKey,
  PLAN_KEY,
  toneResponseKey,
  type KeptState,
} from "../archive/stateKeys.ts";
import type { Camera, CameraDescription } from "../cameras/camera.ts";
import type { Clock } from "../timing/clock.ts";
import type { Log } from "../log.ts";
import type { SensorEvent } from "../sensors/sensors.ts";
import type { FrameRange, NightService } from "./nightService.ts";
import { laptopClockText, terminalClockText } from "./clockText.ts";
import { earlierNight } from "./earlierNight.ts";
import { FrameMeter } from "./frameMeter.ts";
import { GuardNotes } from "./guardNotes.ts";
import { NightCatalogues } from "./nightCatalogues.ts";
import { knownResponse } from "../../core/photometry/knownResponse.ts";
import type { ToneResponse } from "../../core/photometry/response.ts";
import { ResponseStore } from "./responseStore.ts";
import type { FrameCounts } from "./frameCounts.ts";
import { FrameLinePrinter } from "./frameLinePrinter.ts";
import { WatchRunner } from "./watchRunner.ts";
import { noticeOf, stateContext } from "./watchView.ts";
import { withSettingsByHand, wordBefore } from "./wordsBefore.ts";

/** The page hears of changes no more often than this, real milliseconds. */
const TELL_EVERY_MS = 120;
const TONE_RESPONSE_EVERY_FRAMES = 20;

type Direction = Pick<Framing, "azimuthDeg" | "altitudeDeg">;

type NightHostParts = {
  readonly version: string;
  readonly dataDir: string;
  readonly clock: Clock;
  readonly log: Log;
  /** The night being watched; null when only the page is served. */
  readonly catalogue: Catalogue | null;
  readonly cameraIds: readonly string[];
  readonly openCamera: (cameraId: string, night: { readonly nightDir: string }) => Camera;
  /** What a watch is started with now; the settings of the moment, the Sun, the exposure of dusk. */
  readonly startOrder: () => Pick<StartOrder, "settings" | "first">;
  /** What a restart needs to know to set the watch going again. */
  readonly runningOrder: unknown;
  /** Against the simulated sky. */
  readonly isDemo: boolean;
  /** Where the cameras look; null: not reported. */
  readonly direction: Direction | null;
  /** @throws NightError `settings.invalid` while something else than a watch has the camera. */
  readonly claimCamera: (cameraId: string) => void;
  /** One line for the terminal. */
  readonly print: (line: string) => void;
  /** Reported whether a watch needs the computer, whenever that changes. */
  readonly onWatching: (duty: "watching" | "resting") => void;
};

/** The running night with all its cameras, and the nights before it, as the page asks for them. */
export class NightHost implements NightService {
  readonly #parts: NightHostParts;
  readonly #runners = new Map<string, WatchRunner>();
  readonly #listeners = new Set<(message: ServerMessage) => void>();
  readonly #responses: ResponseStore;
  readonly #catalogues: NightCatalogues;
  readonly #frameLines: FrameLinePrinter;
  readonly #guardNotes: GuardNotes;
  /** As written down last, by camera. */
  readonly #framings = new Map<string, string>();
  #tellTimer: NodeJS.Timeout | null = null;
  #settle: () => void = () => {};
  #needsComputer = false;
  #sleepLack: string | null = null;
  #isProgramEnding = false;
  /** Settled while no watch runs any more; made again when one is started after that. */
  #finished = this.#untilSettled();

  constructor(parts: NightHostParts) {
    this.#parts = parts;
    this.#responses = new ResponseStore(parts.dataDir);
    this.#catalogues = new NightCatalogues(parts.dataDir, parts.catalogue, (sentence) => {
      parts.log.warn("night.mended", { sentence });
      parts.print(sentence);
    });
    this.#frameLines = new FrameLinePrinter(parts.print, parts.cameraIds);
    this.#guardNotes = new GuardNotes(parts.catalogue, parts.log);
  }

  /** Resolves when every watch that was started has ended. */
  get finished(): Promise<void> {
    return this.#finished;
  }

  /** How many frames of this run have a picture, and how many are known to have none. */
  get frameCounts(): FrameCounts {
    return this.#frameLines.counts;
  }

  /** Sets every camera's watch going; what the photographer said before a break still holds. */
  startAll(): void {
    const { catalogue, cameraIds } = this.#parts;
    for (const cameraId of cameraIds) {
      this.#start(cameraId, catalogue === null ? WATCH_ON : wordBefore(catalogue, cameraId));
    }
  }

  /** Shows the night as one that is over; a watch is started from the page alone. */
  startNone(): void {
    const { catalogue, cameraIds, clock } = this.#parts;
    const hand: HandWord = { kind: "stop", sinceMs: clock.monotonicMs() };
    for (const cameraId of cameraIds) {
      this.#start(cameraId, hand, catalogue?.getState<EndedBy>(endedByKey(cameraId)) ?? null);
    }
  }

  view(): DaemonView {
    const { version, clock } = this.#parts;
    const freeDiskBytes = this.#freeDiskBytes();
    const night = this.#catalogues.tonight();
    return {
      version,
      nowUtcMs: clock.utcMs(),
      rate: clock.origin.rate,
      night,
      state: this.#nightState(freeDiskBytes),
      watches: [...this.#runners.values()].map((runner) =>
        runner.view({ freeDiskBytes, clockText: laptopClockText }),
      ),
      freeDiskBytes,
      outside: outsideOf(night, clock.utcMs()),
    };
  }

  #nightState(freeDiskBytes: number | null): StateNotice {
    const { clock } = this.#parts;
    const nowMs = clock.monotonicMs();
    const utcOf = (atMs: MonotonicMs): UtcMs => clock.utcOf(atMs);
    const watches = [...this.#runners.values()].map((runner) => runner.facts());
    const context = stateContext({ nowMs, freeDiskBytes, utcOf, clockText: laptopClockText });
    return noticeOf(nightState({ ...context, watches }), utcOf);
  }

  subscribe(listener: (message: ServerMessage) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  command(cameraId: string, command: WatchCommand): void {
    const runner = this.#runners.get(cameraId);
    if (!runner) {
      throw new NightError("settings.invalid", `There is no camera called ${cameraId}.`);
    }
    if (command.kind !== "start") return runner.command(command);
    if (this.isWatching(cameraId)) {
      if (runner.state.known.hand.kind === "pause") return runner.command({ kind: "resume" });
      throw new NightError("settings.invalid", "A watch is running already.");
    }
    this.#start(cameraId, WATCH_ON);
  }

  nights(): readonly NightSummary[] {
    return this.#catalogues.list();
  }

  frames(nightId: string, { cameraId, ...stretch }: FrameRange): readonly FrameRecord[] {
    const catalogue = this.#catalogues.catalogueOf(nightId);
    return catalogue.frames({ ...stretch, cameraId: cameraId ?? firstCamera(catalogue) });
  }

  timeline(nightId: string, named?: string): NightTimeline {
    const catalogue = this.#catalogues.catalogueOf(nightId);
    const cameraId = named ?? firstCamera(catalogue);
    const frames = catalogue.frames({ cameraId, fromIndex: 0, count: Number.MAX_SAFE_INTEGER });
    const guards = catalogue.getState<KeptState["guards"]>(guardsKey(cameraId)) ?? [];
    return { surges: surgesOf(frames), gaps: gapsOf(frames), guards };
  }

  strays(nightId: string): readonly Stray[] {
    return this.#catalogues.catalogueOf(nightId).strays();
  }

  framePath(nightId: string, frameIndex: number, cameraId?: string): string | null {
    const catalogue = this.#catalogues.catalogueOf(nightId);
    const frame = catalogue.frame(cameraId ?? firstCamera(catalogue), frameIndex);
    return frame?.file ? join(catalogue.nightDir, frame.file.path) : null;
  }

  cameraFacts(cameraId: string): Partial<CameraFacts> | null {
    const runner = this.#runners.get(cameraId);
    const reported = runner?.description();
    if (!runner || !reported) return null;
    const { program, hasBulb, focus, clockOffsetMs, facts } = reported;
    const { batteryPercent, freeBytes } = runner.state.known.camera;
    const known = { program, hasBulb, focus, clockOffsetMs, batteryPercent, freeBytes };
    if (!facts) return known;
    return { ...known, noiseReduction: facts.noiseReduction, imageFormat: facts.imageFormat };
  }

  cameraKit(cameraId: string): CameraKitFacts | null {
    const runner = this.#runners.get(cameraId);
    const reported = runner?.description();
    if (!runner || !reported) return null;
    return {
      fNumberLadder: reported.fNumberLadder,
      focalLengthMm: reported.facts?.focalLengthMm ?? null,
      imageWidthPx: reported.facts?.imageWidthPx ?? null,
      freeBytes: runner.state.known.camera.freeBytes,
    };
  }

  keepPlan(request: PlanRequest): boolean {
    this.#parts.catalogue?.setState(PLAN_KEY, request);
    return this.#parts.catalogue !== null;
  }

  newestFramePath(cameraId: string): string | null {
    const { catalogue } = this.#parts;
    const file = catalogue?.newestKept(cameraId)?.file;
    return catalogue && file ? join(catalogue.nightDir, file.path) : null;
  }

  /** Whether a watch adds frames to this night now. */
  isWatched(nightId: string): boolean {
    if (nightId !== this.#catalogues.tonightId) return false;
    return this.#parts.cameraIds.some((cameraId) => this.isWatching(cameraId));
  }

  /** Whether a watch has this camera now. */
  isWatching(cameraId: string): boolean {
    const kind = this.#runners.get(cameraId)?.state.phase.kind ?? "idle";
    return kind !== "idle" && kind !== "finished";
  }

  /** A watch runs, and is not paused until somebody says otherwise. */
  #isOnDuty(cameraId: string): boolean {
    const state = this.#runners.get(cameraId)?.state;
    const isResting = state?.phase.kind === "paused" && pauseEndMs(state.known.hand) === null;
    return this.isWatching(cameraId) && !isResting;
  }

  /** What a sensor beside the cameras says goes to every watch that runs. */
  sense(event: SensorEvent): void {
    for (const [cameraId, runner] of this.#runners) {
      if (!this.isWatching(cameraId)) continue;
      if (event.kind === "light") runner.light(event.value);
      if (event.kind === "climate") runner.climate(event.temperatureC, event.humidityPercent);
      if (event.kind === "clock") runner.clock(event.laptopLessGnssMs);
    }
  }

  /** The night's place became known: every watch that runs learns when dawn ends it. */
  placeFound(dawnMs: MonotonicMs | null): void {
    for (const [cameraId, runner] of this.#runners) {
      if (this.isWatching(cameraId)) runner.placeFound(dawnMs);
    }
  }

  /**
   * Every watch that runs, or is started from now on, learns what may send this computer to sleep;
   * null: nothing.
   */
  guardSleep(lack: string | null): void {
    if (lack === this.#sleepLack) return;
    this.#sleepLack = lack;
    for (const [cameraId, runner] of this.#runners) {
      if (this.isWatching(cameraId)) runner.sleep(lack);
    }
  }

  /** Ends every watch in order: the open frame is closed and kept, the cameras are released. */
  async stop(): Promise<void> {
    this.#isProgramEnding = true;
    for (const runner of this.#runners.values()) runner.endWithProgram();
    if (this.#runners.size > 0) await this.#finished;
    this.#close();
  }

  /** Releases everything at once; the frame in hand stays on the card. */
  async abandon(): Promise<void> {
    await Promise.allSettled([...this.#runners.values()].map((runner) => runner.close()));
    this.#close();
  }

  #close(): void {
    if (this.#tellTimer) clearTimeout(this.#tellTimer);
    this.#catalogues.close();
  }

  /** @param over  What had ended a watch that is over already; null: nothing but the hand's word. */
  #start(cameraId: string, hand: HandWord, over: EndedBy | null = null): void {
    const { catalogue, clock, log } = this.#parts;
    if (!catalogue) throw new NightError("settings.invalid", "No night is open; name a camera.");
    this.#parts.claimCamera(cameraId);
    const runner = new WatchRunner({
      camera: this.#parts.openCamera(cameraId, catalogue),
      catalogue,
      clock,
      log,
      createMeter: (description) => this.#meterFor(cameraId, description),
      onChange: () => this.#changed(cameraId),
      onFrame: (frame) => this.#tellFrame(frame),
      onMissing: (frameIndex, why) => this.#frameLines.missing(cameraId, frameIndex, why),
      onFinished: () => this.#watchFinished(),
      // The night's first camera has the folder to itself; each other one has a folder in it.
      framesFolder: cameraId === this.#parts.cameraIds[0] ? "" : cameraId,
    });
    if (this.#areAllOver()) this.#finished = this.#untilSettled();
    this.#runners.set(cameraId, runner);
    markRunning(catalogue, this.#parts.runningOrder);
    const order = withSettingsByHand(this.#parts.startOrder(), catalogue, cameraId);
    // A night that nobody planned is reported by what its watch was set to.
    if (catalogue.getState(PLAN_KEY) === null) {
      catalogue.setState(PLAN_KEY, { kit: kitOfSettings(order.settings.exposure) });
    }
    runner.start({
      ...order,
      hand,
      ...earlierNight(catalogue, cameraId, clock.origin.startUtcMs),
      ...(over === null ? {} : { endedBy: over }),
    });
    if (this.#sleepLack !== null && this.isWatching(cameraId)) runner.sleep(this.#sleepLack);
  }

  #meterFor(cameraId: string, description: CameraDescription): FrameMeter {
    const runner = this.#runners.get(cameraId)!;
    const reportedWidthPx = description.facts?.imageWidthPx ?? null;
    return new FrameMeter(
      (picture) => {
        const optics = opticsOf(runner.settings, picture, reportedWidthPx);
        this.#noteFraming(cameraId, optics, picture);
        return optics;
      },
      this.#responses.load(description) ?? responseByProfile(description),
    );
  }

  /** Angles up the frames can be marked once lens and sensor are known. */
  #noteFraming(cameraId: string, optics: Optics, picture: PictureFacts): void {
    const { direction, catalogue, log } = this.#parts;
    if (direction === null || catalogue === null || !optics.isSensorKnown) return;
    const pictureHeightMm = optics.acrossMm * (picture.uprightHeightPx / picture.uprightWidthPx);
    const framing = { ...direction, focalLengthMm: optics.focalLengthMm, pictureHeightMm };
    const text = JSON.stringify(framing);
    if (this.#framings.get(cameraId) === text) return;
    this.#framings.set(cameraId, text);
    for (const sentence of optics.remarks) log.warn("optics.remark", { cameraId, sentence });
    try {
      catalogue.setState(framingKey(cameraId), framing);
    } catch (thrown) {
      // The marks of the keogram are not worth a frame's reading.
      log.warn("framing.unwritten", { sentence: asNightError(thrown).message });
    }
  }

  #watchFinished(): void {
    const { catalogue } = this.#parts;
    this.#saveResponses();
    this.#saveEndings();
    if (!this.#areAllOver()) return;
    if (catalogue && !this.#goesOnLater()) markRunning(catalogue, null);
    this.#settle();
  }

  /** A real night whose program ends goes on with the next start; a demo begins again. */
  #goesOnLater(): boolean {
    if (!this.#isProgramEnding || this.#parts.isDemo) return false;
    return [...this.#runners.values()].some(({ isCutOff }) => isCutOff);
  }

  #areAllOver(): boolean {
    return [...this.#runners.values()].every((runner) => runner.state.phase.kind === "finished");
  }

  #untilSettled(): Promise<void> {
    return new Promise((resolve) => (this.#settle = resolve));
  }

  /** Why each watch has ended, for a start that shows the night again. */
  #saveEndings(): void {
    for (const { cameraId, state, isCutOff } of this.#runners.values()) {
      const { phase } = state;
      if (phase.kind !== "finished" || isCutOff) continue;
      try {
        this.#parts.catalogue?.setState(endedByKey(cameraId), phase.by);
      } catch (thrown) {
        this.#parts.log.warn("ending.not_kept", { sentence: asNightError(thrown).message });
      }
    }
  }

  #saveResponses(): void {
    for (const runner of this.#runners.values()) {
      const description = runner.description();
      const response = runner.meter?.response;
      if (!description || !response) continue;
      try {
        this.#responses.save(description, response);
        this.#parts.catalogue?.setState(toneResponseKey(runner.cameraId), response);
      } catch (thrown) {
        this.#parts.log.warn("response.not_kept", { sentence: asNightError(thrown).message });
      }
    }
  }

  #changed(cameraId: string): void {
    const view = this.#runners
      .get(cameraId)
      ?.view({ freeDiskBytes: this.#freeDiskBytes(), clockText: terminalClockText });
    this.#tellDuty();
    if (view) this.#guardNotes.note(view);
    if (view) this.#frameLines.watch(view);
    this.#tellTimer ??= setTimeout(() => {
      this.#tellTimer = null;
      this.#tell({ kind: "state", state: this.view() });
    }, TELL_EVERY_MS);
  }

  #tellDuty(): void {
    const { cameraIds, onWatching } = this.#parts;
    const needsComputer = cameraIds.some((cameraId) => this.#isOnDuty(cameraId));
    if (needsComputer === this.#needsComputer) return;
    this.#needsComputer = needsComputer;
    onWatching(needsComputer ? "watching" : "resting");
  }

  #tellFrame(frame: FrameRecord): void {
    const isNews = this.#frameLines.frame(frame);
    if (isNews && frame.frameIndex % TONE_RESPONSE_EVERY_FRAMES === 0) this.#saveResponses();
    const { tonightId: nightId } = this.#catalogues;
    if (nightId !== null) this.#tell({ kind: "frame", nightId, frame });
  }

  #tell(message: ServerMessage): void {
    for (const listener of this.#listeners) listener(message);
  }

  #freeDiskBytes(): number | null {
    try {
      const { bavail, bsize } = statfsSync(this.#parts.dataDir);
      return bavail * bsize;
    } catch {
      // The page shows the figure only when there is one.
      return null;
    }
  }
}

/** When a pause ends by itself; null: not, or there is no pause. */
function pauseEndMs(hand: HandWord): MonotonicMs | null {
  return hand.kind === "pause" ? hand.untilMs : null;
}

/** The camera that is meant when none is named; a night without frames has none. */
function firstCamera(catalogue: Catalogue): string {
  return catalogue.cameraIds()[0] ?? "";
}

/** The tone curve that the camera's profile knows; null: it knows none. */
function responseByProfile({ toneCurve }: CameraDescription): ToneResponse | null {
  return toneCurve ? knownResponse(toneCurve) : null;
}

/** A demo's place is not where its computer stands. */
function outsideOf(night: NightSummary | null, atUtcMs: UtcMs): Outside {
  const isThere = night !== null && !night.isRehearsal && isPlaced(night);
  return outsideAt(atUtcMs, isThere ? placeOf({ elevationM: 0, ...night }) : null);
}

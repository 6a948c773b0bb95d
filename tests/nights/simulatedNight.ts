import { doubtOf } from "../../core/frames/proof.ts";
import { planReconciliation } from "../../core/frames/reconcile.ts";
import { DEFAULT_WATCH_SETTINGS, type WatchSettings } from "../../core/watch/watchSettings.ts";
import { createRandom, type Random } from "../../core/random.ts";
import { monotonicMs, utcMs } from "../../core/units.ts";
import type { WatchEffect } from "../../core/watch/effects.ts";
import type { WatchEvent } from "../../core/watch/events.ts";
import { changedFrame, type FrameRecord } from "../../core/watch/frameRecord.ts";
import { handWordAfterBreak } from "../../core/watch/handWordAfter.ts";
import { idleWatch } from "../../core/watch/idleWatch.ts";
import { reduceWatch } from "../../core/watch/reduce.ts";
import type { WatchState } from "../../core/watch/state.ts";
import { makeFrame } from "../support/frameRecords.ts";
import { aReading, at, type BareEvent } from "../support/watchFixtures.ts";
import { faultsOf, type Fault } from "./nightFaults.ts";
import { NightInvariants } from "./nightInvariants.ts";
import { SimulatedBody } from "./simulatedBody.ts";

/** What one night came to. */
export type NightOutcome = {
  /** Broken invariants, a sentence each. */
  readonly problems: readonly string[];
  readonly frameCount: number;
  readonly keptCount: number;
  readonly strayCount: number;
  readonly eventCount: number;
};

const START_UTC_MS = utcMs(Date.UTC(2026, 10, 25, 16));
const READOUT_MS = 1000;
const EVENTS_MAX = 400_000;

type Scheduled = { readonly atMs: number; readonly act: () => void };

/** One night of the real watch and governor on simulated time, against a camera that fails by a seed. */
export function simulateNight(seed: number, nightHours: number): NightOutcome {
  return new SimulatedNight(seed, nightHours * 3_600_000).run();
}

class SimulatedNight {
  readonly #random: Random;
  readonly #faults: readonly Fault[];
  readonly #body = new SimulatedBody(START_UTC_MS);
  readonly #rows = new Map<number, FrameRecord>();
  readonly #words: WatchEvent[] = [];
  readonly #invariants = new NightInvariants();
  readonly #settings: WatchSettings;
  readonly #endMs: number;
  #queue: Scheduled[] = [];
  #nowMs = 0;
  #state: WatchState = idleWatch();
  #wakeMs: number | null = null;
  #isLinked = false;
  #isAlive = false;
  /** Rises with each life of the daemon and each link: what an older one scheduled is void. */
  #life = 0;
  #link = 0;
  #eventCount = 0;
  /** Since when the camera's battery dies; null: it does not. */
  #batteryFallsMs: number | null = null;

  constructor(seed: number, endMs: number) {
    this.#random = createRandom(seed);
    this.#endMs = endMs;
    this.#faults = faultsOf(this.#random.fork("faults"), endMs);
    this.#settings = { ...DEFAULT_WATCH_SETTINGS, dawnMs: monotonicMs(endMs) };
  }

  run(): NightOutcome {
    for (const fault of this.#faults) this.#at(fault.atMs, () => this.#begin(fault));
    this.#startDaemon();
    while (this.#eventCount < EVENTS_MAX && this.#nowMs < this.#endMs + 3_600_000) {
      if (!this.#advance()) break;
    }
    if (this.#eventCount >= EVENTS_MAX)
      this.#invariants.note(this.#nowMs, "the night does not end");
    this.#reconcile(this.#state.known.frames.nextFrameIndex + 1);
    this.#invariants.checkPictures([...this.#rows.values()], this.#body.card);
    const kept = [...this.#rows.values()].filter(({ status }) => status === "kept").length;
    return {
      problems: this.#invariants.problems,
      frameCount: this.#rows.size,
      keptCount: kept,
      strayCount: this.#body.card.length - kept,
      eventCount: this.#eventCount,
    };
  }

  /** The next thing that happens. @returns false when nothing is left to happen. */
  #advance(): boolean {
    this.#queue.sort((one, other) => one.atMs - other.atMs);
    const next = this.#queue[0];
    const wakeMs = this.#isAlive ? this.#heardMs(this.#wakeMs) : null;
    if (wakeMs !== null && (!next || wakeMs <= next.atMs)) {
      this.#nowMs = Math.max(this.#nowMs, wakeMs);
      this.#wakeMs = null;
      this.#take({ kind: "woke" });
      return true;
    }
    if (!next) return false;
    this.#queue.shift();
    this.#nowMs = Math.max(this.#nowMs, next.atMs);
    next.act();
    return true;
  }

  /** When the computer hears of a moment: at once, or when it is no longer suspended. */
  #heardMs(atMs: number): number;
  #heardMs(atMs: number | null): number | null;
  #heardMs(atMs: number | null): number | null {
    if (atMs === null) return null;
    const ends = this.#faults.flatMap((fault) =>
      fault.kind === "suspended" && fault.atMs <= atMs && atMs < fault.endMs ? fault.endMs : [],
    );
    return Math.max(atMs, ...ends);
  }

  #at(atMs: number, act: () => void): void {
    this.#queue.push({ atMs, act });
  }

  /** In so many milliseconds, if the daemon still lives then. */
  #soon(ms: number, act: () => void): void {
    const life = this.#life;
    this.#at(this.#heardMs(this.#nowMs + ms), () => {
      if (this.#isAlive && life === this.#life) act();
    });
  }

  #is(kind: Fault["kind"]): boolean {
    return this.#faults.some(
      (fault) =>
        fault.kind === kind &&
        "endMs" in fault &&
        fault.atMs <= this.#nowMs &&
        this.#nowMs < fault.endMs,
    );
  }

  #begin(fault: Fault): void {
    switch (fault.kind) {
      case "cableOut":
        this.#invariants.faultUntil(fault.endMs);
        return this.#loseLink();
      case "killed":
        this.#invariants.faultUntil(fault.endMs);
        this.#isAlive = false;
        this.#isLinked = false;
        this.#link += 1;
        return this.#at(fault.endMs, () => this.#isAlive || this.#startDaemon());
      case "silent":
      case "busy":
      case "lateEvents":
      case "doubledEvents":
      case "dialTurned":
      case "suspended":
        return this.#invariants.faultUntil(fault.endMs);
      case "workerCrashed":
        return this.#loseLink();
      case "clockSet":
        return this.#hear({ kind: "clockCompared", oursLessGnssMs: fault.byMs });
      case "batteryDies":
        this.#batteryFallsMs ??= this.#nowMs;
        return;
      case "lostFiles":
      case "blind":
      case "diskFull":
      case "diskSlow":
      case "slowPreviews":
      case "truncated":
      case "cardFull":
        return;
      case "handPicture":
        if (this.#body.open === null) this.#body.takeByHand(this.#nowMs);
        return;
      case "wrongId":
        return this.#hear({ kind: "shutterOpened", frameIndex: 999_999 });
      case "babble":
        for (let count = 0; count < 200; count += 1) {
          this.#hear({ kind: "climateRead", temperatureC: -20 + count / 10, humidityPercent: 70 });
        }
        return;
      case "pause": {
        const untilMs = fault.forMs === null ? undefined : monotonicMs(this.#nowMs + fault.forMs);
        return this.#say({ kind: "paused", untilMs });
      }
      case "resume":
        return this.#say({ kind: "resumed" });
      case "settings":
        return this.#say({ kind: "settingsChanged", exposure: { isoMax: fault.isoMax } });
      case "stop":
        return this.#say({ kind: "stopped" });
    }
  }

  /** The photographer says something, if a daemon hears it. */
  #say(event: BareEvent): void {
    if (!this.#isAlive) return;
    this.#words.push(at(this.#nowMs, event));
    this.#take(event);
  }

  #hear(event: BareEvent): void {
    if (this.#isAlive) this.#take(event);
  }

  #startDaemon(): void {
    this.#life += 1;
    this.#isAlive = true;
    this.#invariants.began(this.#nowMs);
    this.#state = idleWatch();
    this.#wakeMs = null;
    const hand = handWordAfterBreak(this.#words);
    const nextFrameIndex = Math.max(-1, ...this.#rows.keys()) + 1;
    const started: BareEvent = {
      ...{ kind: "started", settings: this.#settings, first: null, history: [] },
      ...{ nextFrameIndex, hand },
    };
    this.#words.push(at(this.#nowMs, started));
    this.#take(started);
  }

  #loseLink(): void {
    if (!this.#isLinked) return;
    this.#isLinked = false;
    this.#link += 1;
    const failed: BareEvent = {
      ...{ kind: "cameraFailed", code: "camera.gone", frameIndex: null, gone: true },
      sentence: "The cable is out.",
    };
    this.#soon(50, () => this.#take(failed));
  }

  /** What the camera says, as long as its link lasts; silence swallows it, faults delay or double it. */
  #cameraSays(inMs: number, event: BareEvent): void {
    const link = this.#link;
    const happenedMs = this.#nowMs + inMs;
    const lateMs = this.#is("lateEvents") ? 30_000 * this.#random.uniform() : 0;
    const times = this.#is("doubledEvents") ? 2 : 1;
    for (let time = 0; time < times; time += 1) {
      this.#soon(inMs + lateMs + time * 200, () => {
        if (link === this.#link && !this.#is("silent")) this.#take(event, happenedMs);
      });
    }
  }

  /** @param atMs  When it happened, which the timing thread writes on it however late it is heard. */
  #take(event: BareEvent, atMs = this.#nowMs): void {
    this.#eventCount += 1;
    const stamped = at(atMs, event);
    this.#note(stamped);
    const { state, effects } = reduceWatch(this.#state, stamped);
    this.#state = state;
    for (const effect of effects) this.#perform(effect);
    this.#invariants.check({
      nowMs: this.#nowMs,
      state: this.#state,
      isShutterOpen: this.#body.open !== null,
      isLinked: this.#isLinked,
      hand: handWordAfterBreak(this.#words),
      wakeMs: this.#wakeMs,
    });
  }

  /** What an event changes in the frame's row, as the runner writes it. */
  #note(event: WatchEvent): void {
    if (event.kind === "shutterOpened") {
      this.#change(event.frameIndex, { openedUtcMs: utcMs(START_UTC_MS + event.atMs) });
    }
    if (event.kind === "shutterClosed") {
      this.#change(event.frameIndex, { happened: event.happened, status: "taken" });
    }
  }

  #change(frameIndex: number, changes: Partial<FrameRecord>): void {
    const row = this.#rows.get(frameIndex);
    if (row) this.#rows.set(frameIndex, changedFrame(row, changes));
  }

  #perform(effect: WatchEffect): void {
    switch (effect.kind) {
      case "connectCamera":
        return this.#connect();
      case "expose":
        return this.#expose(effect);
      case "closeShutter":
        return this.#closeShutter();
      case "keepFrame":
        return this.#soon(this.#upTo("diskSlow", 20), () => this.#keep(effect.frameIndex));
      case "meterFrame": {
        const { frameIndex } = effect;
        const isCut = this.#is("truncated");
        return this.#soon(this.#upTo("slowPreviews", 150), () =>
          this.#take(
            isCut || this.#is("blind")
              ? { kind: "readingFailed", frameIndex, sentence: "the file has no preview" }
              : { kind: "readingArrived", frameIndex, reading: aReading() },
          ),
        );
      }
      case "markMissing":
        return this.#change(effect.frameIndex, { status: "missing" });
      case "readStatus":
        return this.#cameraSays(30, {
          kind: "statusRead",
          ...this.#cameraStatus(),
        });
      case "reconcileCard":
        return this.#soon(1500, () => this.#reconcile(effect.beforeFrameIndex));
      case "wake":
        this.#wakeMs = effect.atMs;
        return;
      case "closeCamera":
        this.#isLinked = false;
        this.#link += 1;
        this.#body.closeShutter(this.#nowMs);
        return this.#soon(100, () => this.#take({ kind: "cameraClosed" }));
    }
  }

  #cameraStatus() {
    const isFull = this.#is("cardFull");
    const fallen = this.#batteryFallsMs === null ? 0 : this.#nowMs - this.#batteryFallsMs;
    const batteryPercent = Math.max(0, Math.round(80 * (1 - fallen / 3_600_000)));
    return { batteryPercent, freeBytes: isFull ? 0 : 200e9, freeFrames: isFull ? 0 : 40_000 };
  }

  /** So long, or up to half a minute while this fault lasts. */
  #upTo(kind: "diskSlow" | "slowPreviews", usualMs: number): number {
    return this.#is(kind) ? 30_000 * this.#random.uniform() : usualMs;
  }

  /** Connecting ends what an earlier link left open, as the session does. */
  #connect(): void {
    this.#isLinked = false;
    this.#link += 1;
    if (this.#is("silent")) return;
    if (this.#is("cableOut")) {
      return this.#soon(800, () =>
        this.#take({
          ...{ kind: "cameraFailed", code: "camera.unreachable", frameIndex: null, gone: true },
          sentence: "No camera answers.",
        }),
      );
    }
    this.#isLinked = true;
    this.#body.closeShutter(this.#nowMs);
    this.#cameraSays(300, {
      ...{ kind: "cameraConnected", isoLadder: [], fNumber: 2.8, canTakeFrames: true },
      ...{ program: this.#is("dialTurned") ? "other" : "manual", isToneCurveKnown: true },
    });
  }

  #expose({ frameIndex, exposure, reasons }: Extract<WatchEffect, { kind: "expose" }>): void {
    this.#invariants.ordered({
      ...{ nowMs: this.#nowMs, exposure, settings: this.#state.known.settings.exposure },
      hand: handWordAfterBreak(this.#words),
      isShutterOpen: this.#body.open !== null,
    });
    const row = { frameIndex, ordered: exposure, reasons, openedUtcMs: null, happened: null };
    this.#rows.set(frameIndex, makeFrame({ ...row, status: "ordered", file: null, reading: null }));
    if (!this.#isLinked || this.#is("silent")) return;
    if (this.#is("busy")) {
      return this.#cameraSays(2000, {
        ...{ kind: "cameraFailed", code: "camera.busy", frameIndex, gone: false },
        sentence: "The camera is busy.",
      });
    }
    const link = this.#link;
    this.#soon(50, () => {
      if (link !== this.#link) return;
      this.#body.openShutter(frameIndex, exposure, this.#nowMs);
      this.#cameraSays(1, { kind: "shutterOpened", frameIndex });
      this.#soon(exposure.exposureSeconds * 1000, () => {
        if (link === this.#link && this.#body.open?.frameIndex === frameIndex) this.#closeShutter();
      });
    });
  }

  #closeShutter(): void {
    if (!this.#isLinked || this.#is("silent")) return;
    const closed = this.#body.closeShutter(this.#nowMs);
    if (closed === null) return;
    const { frameIndex, happened } = closed;
    this.#cameraSays(1, { kind: "shutterClosed", frameIndex, happened });
    this.#cameraSays(READOUT_MS, { kind: "cameraReady" });
    if (this.#is("lostFiles")) {
      return this.#cameraSays(10_000, {
        kind: "frameMissing",
        frameIndex,
        why: "no file was named",
      });
    }
    this.#cameraSays(READOUT_MS - 200, { kind: "frameArrived", frameIndex });
  }

  /** By transaction: the picture that this frame's own capture made. */
  #keep(frameIndex: number): void {
    if (this.#is("diskFull")) {
      return this.#take({ kind: "keepFailed", frameIndex, sentence: "The disk is full." });
    }
    const picture = this.#body.card.find(({ ofFrame }) => ofFrame === frameIndex);
    if (picture) this.#keepOn(frameIndex, picture.cameraHandle);
    this.#take({ kind: "frameKept", frameIndex });
  }

  #keepOn(frameIndex: number, cameraHandle: number): void {
    const { cameraName, bytes } = this.#body.card[cameraHandle - 1]!;
    const path = `frames/${String(frameIndex).padStart(6, "0")}.jpg`;
    const file = { path, bytes, sha256: "", cameraName, cameraHandle };
    this.#change(frameIndex, { file, status: "kept" });
  }

  #reconcile(beforeFrameIndex: number): void {
    const frames = [...this.#rows.values()]
      .filter(({ frameIndex }) => frameIndex < beforeFrameIndex)
      .sort((one, other) => one.frameIndex - other.frameIndex);
    const steps = planReconciliation({
      ...{ cameraId: "made-up", frames, cardFiles: this.#body.card },
      filesOnDisk: frames.flatMap(({ file }) => file ?? []),
      pathOf: (frameIndex) => `frames/${String(frameIndex).padStart(6, "0")}.jpg`,
      ...{ clockOffsetMs: 0, startUtcMs: START_UTC_MS, endUtcMs: null },
    });
    for (const step of steps) {
      if (step.kind !== "fetch") continue;
      const row = this.#rows.get(step.frameIndex)!;
      const { exposure } = this.#body.card[step.card.cameraHandle - 1]!;
      if (doubtOf(row, exposure, 0.5) !== null) continue;
      this.#keepOn(step.frameIndex, step.card.cameraHandle);
    }
  }
}

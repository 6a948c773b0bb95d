import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";

import sharp from "sharp";

import type {
  DaemonView,
  NightSummary,
  ServerMessage,
  WatchCommand,
  WatchView,
} from "../../core/api/messages.ts";
import { NightError } from "../../core/errors.ts";
import { DEFAULT_EXPOSURE_SETTINGS } from "../../core/exposure/settings.ts";
import type { FrameRecord } from "../../core/night/frameRecord.ts";
import { utcMs, type UtcMs } from "../../core/units.ts";
import type { NightService } from "../../controller/web/nightService.ts";

/** When the made-up night begins. */
export const NIGHT_START = utcMs(Date.UTC(2026, 10, 25, 16, 30));

export const NIGHT_ID = "2026-11-25_hut-seven";

/** A night service that lives in memory and does what it is told; every change is pushed. */
export type FakeNight = NightService & {
  /** Adds a frame, as the watch would when its file is whole. */
  addFrame(changes?: Partial<FrameRecord>): FrameRecord;
  /** Changes how the watch stands. */
  changeWatch(changes: Partial<WatchView>, cameraId?: string): void;
  changeView(changes: Partial<DaemonView>): void;
  readonly commands: { cameraId: string; command: WatchCommand }[];
  readonly listenerCount: () => number;
};

/** A frame with every field filled; each field that a test names matters to it. */
export function makeFrame(changes: Partial<FrameRecord> = {}): FrameRecord {
  const frameIndex = changes.frameIndex ?? 0;
  const exposure = { exposureSeconds: 7.43, iso: 3200, fNumber: 2.8 };
  return {
    frameIndex,
    cameraId: "virtual",
    status: "kept",
    ordered: exposure,
    reasons: ["sky 1.3 stops brighter than a minute ago", "kept under 7.5 s for the curtains"],
    targetStops: -2,
    openedUtcMs: utcMs(NIGHT_START + frameIndex * 10_000),
    happened: exposure,
    file: {
      path: `frames/${String(frameIndex).padStart(6, "0")}.jpg`,
      bytes: 400_000,
      sha256: frameIndex.toString(16).padStart(8, "0").padEnd(64, "a"),
      cameraName: `NV${String(frameIndex).padStart(6, "0")}.JPG`,
      cameraHandle: frameIndex + 1,
    },
    reading: {
      skyStops: -2.04,
      uncertaintyStops: 0.03,
      skyLuminanceCdM2: 0.0042,
      peakRatio: 4.2,
      clippedShare: { red: 0, green: 0.0031, blue: 0 },
      skyShare: 0.71,
      histogram: Array.from({ length: 64 }, (_, bin) =>
        Math.round(4000 * Math.exp(-(((bin - 18) / 7) ** 2)) + (bin === 63 ? 60 : 0)),
      ),
      motion: { kind: "measured", degPerSecond: 0.12, pxPerSecond: 3.1 },
      starWidthPx: 2.1,
      starCount: 84,
      remarks: [],
    },
    pace: "full",
    ...changes,
  };
}

export function makeNight(changes: Partial<NightSummary> = {}): NightSummary {
  return {
    nightId: NIGHT_ID,
    name: "hut-seven",
    startUtcMs: NIGHT_START,
    latitudeDeg: 68.9,
    longitudeDeg: 27,
    placeName: "Hut Seven",
    isRehearsal: true,
    frameCount: 0,
    ...changes,
  };
}

export function makeWatch(changes: Partial<WatchView> = {}): WatchView {
  return {
    cameraId: "virtual",
    cameraLabel: "Virtual camera",
    phase: "watching",
    sentence: "All is well: full pace, every frame within a third of a stop.",
    allIsWell: true,
    pace: "full",
    isExposing: true,
    frameCount: 0,
    newest: null,
    batteryPercent: 82,
    cardFreeBytes: 51_000_000_000,
    cardFreeFrames: 2040,
    endsUtcMs: utcMs(NIGHT_START + 14 * 3_600_000),
    endsBy: "dawn",
    settings: DEFAULT_EXPOSURE_SETTINGS,
    guards: [],
    surges: [],
    gaps: [],
    ...changes,
  };
}

export function makeView(changes: Partial<DaemonView> = {}): DaemonView {
  return {
    version: "0.1.0",
    nowUtcMs: NIGHT_START,
    rate: 10,
    night: makeNight(),
    watches: [makeWatch()],
    freeDiskBytes: 210_000_000_000,
    ...changes,
  };
}

/**
 * @param options.cameraIds  The night's cameras; each counts its frames by itself.
 */
export function createFakeNight(
  options: { framesDir?: string; cameraIds?: readonly string[] } = {},
): FakeNight {
  const { cameraIds = ["virtual"] } = options;
  const first = cameraIds[0]!;
  const frames: FrameRecord[] = [];
  const listeners = new Set<(message: ServerMessage) => void>();
  const commands: { cameraId: string; command: WatchCommand }[] = [];
  let view = makeView();
  const watches = new Map(
    cameraIds.map((cameraId, at) => [
      cameraId,
      makeWatch({ cameraId, ...(at === 0 ? {} : { cameraLabel: `Camera ${cameraId}` }) }),
    ]),
  );
  const framesOf = (cameraId: string): FrameRecord[] =>
    frames.filter((frame) => frame.cameraId === cameraId);
  const change = (cameraId: string, changes: Partial<WatchView>): void => {
    watches.set(cameraId, { ...watches.get(cameraId)!, ...changes });
  };

  const now = (): UtcMs => {
    const newest = frames.at(-1);
    return newest?.openedUtcMs ? utcMs(newest.openedUtcMs + 9_000) : view.nowUtcMs;
  };
  const current = (): DaemonView => ({
    ...view,
    nowUtcMs: now(),
    night: view.night && { ...view.night, frameCount: frames.length },
    watches: [...watches.values()].map((watch) => {
      const own = framesOf(watch.cameraId);
      return { ...watch, frameCount: own.length, newest: own.at(-1) ?? null };
    }),
  });
  const push = (message: ServerMessage): void => {
    for (const listener of listeners) listener(message);
  };
  const pushState = (): void => push({ kind: "state", state: current() });

  return {
    commands,
    listenerCount: () => listeners.size,
    view: current,
    nights: () => [current().night].filter((night) => night !== null),
    subscribe: (listener) => {
      listeners.add(listener);
      return () => listeners.delete(listener);
    },
    frames: (_nightId, { fromIndex, count, cameraId = first }) =>
      framesOf(cameraId).slice(fromIndex, fromIndex + count),
    framePath: (_nightId, frameIndex, cameraId = first) => {
      const file = framesOf(cameraId)[frameIndex]?.file;
      return options.framesDir === undefined || !file
        ? null
        : join(options.framesDir, "..", file.path);
    },
    command: (cameraId, command) => {
      commands.push({ cameraId, command });
      const watch = watches.get(cameraId)!;
      const { phase } = watch;
      switch (command.kind) {
        case "settings":
          change(cameraId, { settings: { ...watch.settings, ...command.settings } });
          break;
        case "pause":
          if (phase !== "watching") {
            throw new NightError("settings.invalid", "Only a running watch can be paused.");
          }
          change(cameraId, { phase: "paused", isExposing: false, sentence: "Paused by hand." });
          break;
        case "start":
        case "resume":
          change(cameraId, { phase: "watching", sentence: "All is well." });
          break;
        case "stop":
          change(cameraId, { phase: "finished", isExposing: false, sentence: "Ended by hand." });
          break;
      }
      pushState();
    },
    addFrame: (changes = {}) => {
      const cameraId = changes.cameraId ?? first;
      const frameIndex = framesOf(cameraId).length;
      const frame = makeFrame({ frameIndex, cameraId, ...changes });
      frames.push(frame);
      push({ kind: "frame", nightId: NIGHT_ID, frame });
      pushState();
      return frame;
    },
    changeWatch: (changes, cameraId = first) => {
      change(cameraId, changes);
      pushState();
    },
    changeView: (changes) => {
      view = { ...view, ...changes };
      pushState();
    },
  };
}

/**
 * Writes a small picture of a made-up sky for a frame: a dark ground below, a green arc that climbs
 * with the index above. Bright enough that a test can find it in the picture.
 */
export async function writePicture(
  framesDir: string,
  frameIndex: number,
  size = { width: 360, height: 240 },
): Promise<void> {
  mkdirSync(framesDir, { recursive: true });
  const { width, height } = size;
  const rgb = Buffer.alloc(width * height * 3);
  const arcRow = height * (0.6 - 0.3 * Math.abs(Math.sin(frameIndex / 40)));
  for (let y = 0; y < height; y += 1) {
    const isGround = y > height * 0.82;
    for (let x = 0; x < width; x += 1) {
      const wave = arcRow + 12 * Math.sin((x + frameIndex * 5) / 40);
      const glow = isGround ? 0 : 170 * Math.exp(-(((y - wave) / 22) ** 2));
      const at = (y * width + x) * 3;
      rgb[at] = isGround ? 4 : 12 + glow * 0.25;
      rgb[at + 1] = isGround ? 5 : 18 + glow;
      rgb[at + 2] = isGround ? 7 : 34 + glow * 0.45;
    }
  }
  const jpeg = await sharp(rgb, { raw: { width, height, channels: 3 } })
    .jpeg({ quality: 80 })
    .toBuffer();
  writeFileSync(join(framesDir, `${String(frameIndex).padStart(6, "0")}.jpg`), jpeg);
}

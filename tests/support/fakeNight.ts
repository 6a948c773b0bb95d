import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";

import sharp from "sharp";

import type {
  DaemonView,
  ServerMessage,
  WatchCommand,
  WatchView,
} from "../../core/api/messages.ts";
import { NightError } from "../../core/errors.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { utcMs, type UtcMs } from "../../core/units.ts";
import { stateWords } from "../../core/words/stateWords.ts";
import { makeFrame, makeState, makeView, makeWatch, NIGHT_ID } from "./madeUpNight.ts";
import type { NightService } from "../../controller/night/nightService.ts";

/** A night service that lives in memory and does what it is ordered; every change is pushed. */
export type FakeNight = NightService & {
  /** Adds a frame, as the watch would when its file is whole. */
  addFrame(changes?: Partial<FrameRecord>): FrameRecord;
  /** Changes how the watch stands. */
  changeWatch(changes: Partial<WatchView>, cameraId?: string): void;
  changeView(changes: Partial<DaemonView>): void;
  readonly commands: { cameraId: string; command: WatchCommand }[];
  readonly listenerCount: () => number;
};

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
    state: state(),
  });
  /** The whole program derives it in the core; here it is the worst watch's own sentence. */
  const state = (): DaemonView["state"] => {
    if (view.night === null) return makeState("nothingWatches", { sentence: stateWords.noWatch });
    const all = [...watches.values()];
    const worst = all.find(({ allIsWell }) => !allIsWell) ?? all[0]!;
    const kinds = { paused: "pausedByHand", finished: "nothingWatches" } as const;
    const kind = worst.allIsWell ? "well" : "pictureAffected";
    const { phase, sentence } = worst;
    const resting = phase === "paused" || phase === "finished" ? kinds[phase] : kind;
    return makeState(resting, { sentence });
  };
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
    strays: () => [],
    timeline: (_nightId, cameraId = first) => {
      const { surges, gaps, guards } = watches.get(cameraId)!;
      return { surges, gaps, guards };
    },
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

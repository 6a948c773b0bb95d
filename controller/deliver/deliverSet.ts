import { existsSync, rmSync } from "node:fs";
import { mkdir, readFile, readdir, rm, stat } from "node:fs/promises";
import { join, relative } from "node:path";
import type { DeliverOrder, DeliveredFile, VideoKind } from "../../core/api/deliverMessages.ts";
import type { FrameCorrection } from "../../core/frames/deflicker.ts";
import { archiveError } from "../archive/archiveError.ts";
import { writeWhole } from "../archive/frameFiles.ts";
import { encodeJpeg } from "./canvas.ts";
import { exifOf, xmpOf, xmpOfWork } from "./frameMetadata.ts";
import type { FramePool } from "./framePool.ts";
import type { FrameTask, TrailPart } from "./frameTasks.ts";
import { eachOf } from "./measureNight.ts";
import {
  framingOf,
  keyOf,
  toneResponseOf,
  type NightToDeliver,
  type SetToDeliver,
} from "./nightToDeliver.ts";
import type { ProgressCounter } from "./progress.ts";
import { VIDEO_ENDING, VideoEncoder, findVideoEncoder, videoSize } from "./videoEncoder.ts";

/** A set that is ready to be rendered. */
export type ReadySet = SetToDeliver & {
  readonly corrections: readonly FrameCorrection[];
  /** Size of all its frames. */
  readonly picture: { readonly widthPx: number; readonly heightPx: number };
  /** Folder and file names are made of this. */
  readonly slug: string;
};

export type SetDelivery = {
  readonly night: NightToDeliver;
  readonly order: DeliverOrder;
  readonly outDir: string;
  readonly pool: FramePool;
  readonly signal: AbortSignal;
  readonly progress: ProgressCounter;
  /** True when what an earlier delivery rendered is still good. */
  readonly isResumed: boolean;
};

/** Work of one frame, in the unit of measuring one; from timings, and only for the time left. */
export const UNITS = { measure: 1, render: 2, video: { h264: 2, vp9: 5, av1: 8 } } as const;

/** The whole work of a delivery, in the same unit. */
export function unitsOf(order: DeliverOrder, frameCount: number): number {
  const video = order.videos.reduce((sum, kind) => sum + UNITS.video[kind], 0);
  return frameCount * (UNITS.measure + UNITS.render + video);
}

/** A set's sequence, its videos fed from it as it grows, its star trail. */
export async function deliverSet(delivery: SetDelivery, ready: ReadySet): Promise<DeliveredFile[]> {
  const { order, outDir, signal } = delivery;
  const isKept = order.sequence !== "none";
  if (!isKept && order.videos.length === 0 && !order.starTrail) return [];
  const folder = join(outDir, isKept ? `sequence-${ready.slug}` : `.frames-${ready.slug}`);
  const ending = order.sequence === "tiff16" ? "tif" : "jpg";
  const pathOf = (n: number): string => join(folder, `${String(n + 1).padStart(6, "0")}.${ending}`);
  if (!delivery.isResumed) rmSync(folder, { recursive: true, force: true });
  await mkdir(folder, { recursive: true }).catch((thrown: unknown) => {
    throw archiveError(thrown, folder);
  });
  const encoders = startEncoders(delivery, ready, ending === "jpg" ? "pipe" : null);
  const cancelAll = (): Promise<unknown> =>
    Promise.all(encoders.map(({ encoder }) => encoder.cancel()));
  // An encoder may have minutes of work in hand; being stopped does not wait for them.
  const onAbort = (): void => void cancelAll();
  signal.addEventListener("abort", onAbort, { once: true });
  try {
    const rendered = renderInOrder(delivery, ready, pathOf);
    for (const [n, done] of rendered.entries()) {
      await done;
      signal.throwIfAborted();
      if (encoders.length === 0) continue;
      const jpeg = await readFile(pathOf(n));
      await Promise.all(encoders.map(({ encoder }) => encoder.write(jpeg)));
      for (const { kind, label } of encoders) {
        const at = {
          stage: "video",
          label,
          doneCount: n + 1,
          totalCount: rendered.length,
        } as const;
        delivery.progress.step(at, UNITS.video[kind]);
      }
    }
    const files: DeliveredFile[] = [];
    if (order.starTrail) files.push(await makeStarTrail(delivery, ready));
    if (isKept) files.unshift(await sequenceEntry(folder, delivery, ready));
    for (const { encoder, label, path } of encoders) {
      const bytes = await encoder.finish();
      files.push(videoEntry(outDir, { label, path, bytes }, ready));
    }
    if (order.sequence === "tiff16") files.push(...(await encodeFromTiff(delivery, ready, folder)));
    if (!isKept) await rm(folder, { recursive: true, force: true });
    return files;
  } catch (thrown) {
    await cancelAll();
    signal.throwIfAborted();
    throw thrown;
  } finally {
    signal.removeEventListener("abort", onAbort);
  }
}

/** Starts all of a set's frames, a few at a time; each promise resolves when its file is whole. */
function renderInOrder(
  delivery: SetDelivery,
  ready: ReadySet,
  pathOf: (n: number) => string,
): readonly Promise<void>[] {
  const { order, pool, signal, progress } = delivery;
  const done = ready.frames.map(() => createGate());
  let doneCount = 0;
  const one = async (n: number): Promise<void> => {
    signal.throwIfAborted();
    const outPath = pathOf(n);
    const isGiven = delivery.isResumed && existsSync(outPath);
    if (!isGiven) await pool.run(renderTask(delivery, ready, n, outPath));
    else if (order.starTrail) await pool.run({ kind: "trail", path: outPath });
    doneCount += 1;
    const at = { stage: "frames", label: ready.set.name, doneCount } as const;
    progress.step({ ...at, totalCount: ready.frames.length }, UNITS.render, isGiven);
    done[n]!.open();
  };
  eachOf([...ready.frames.keys()], 2 * pool.width, one).catch((thrown: unknown) => {
    for (const gate of done) gate.fail(thrown);
  });
  return done.map((gate) => gate.opened);
}

/** A promise that is settled from outside. */
type Gate = {
  readonly opened: Promise<void>;
  readonly open: () => void;
  readonly fail: (reason: unknown) => void;
};

function createGate(): Gate {
  let open: () => void = () => undefined;
  let fail: (reason: unknown) => void = () => undefined;
  const opened = new Promise<void>((resolve, reject) => {
    open = resolve;
    fail = reject;
  });
  // Whoever waits for it hears of the failure; nobody may be waiting yet.
  opened.catch(() => undefined);
  return { opened, open, fail };
}

function renderTask(
  { night, order }: SetDelivery,
  ready: ReadySet,
  n: number,
  outPath: string,
): FrameTask {
  const frame = ready.frames[n]!;
  const { catalogue } = night;
  const biasStops = ready.corrections[n]!.totalStops;
  const picks = catalogue.picks();
  const context = {
    info: night.info,
    framing: framingOf(catalogue, frame.cameraId),
    setName: ready.set.name,
    pick: picks.find((pick) => keyOf(pick) === keyOf(frame)) ?? null,
    biasStops,
  };
  return {
    kind: "render",
    path: join(catalogue.nightDir, frame.file!.path),
    outPath,
    format: order.sequence === "tiff16" ? "tiff16" : "jpeg",
    // Without a sequence to keep, nothing larger than the video is needed.
    box: order.sequence === "none" && !order.starTrail ? order.videoBox : null,
    gainStops: biasStops,
    response: toneResponseOf(catalogue, frame.cameraId),
    ditherSeed: frame.frameIndex,
    exif: exifOf(frame, context),
    xmp: xmpOf(frame, context),
    trail: order.starTrail,
  };
}

type RunningVideo = {
  readonly encoder: VideoEncoder;
  readonly kind: VideoKind;
  readonly label: string;
  readonly path: string;
};

/** @param source  null: nothing to feed yet. */
function startEncoders(
  { order, outDir }: SetDelivery,
  ready: ReadySet,
  source: "pipe" | { readonly pattern: string } | null,
): RunningVideo[] {
  if (source === null || order.videos.length === 0) return [];
  const encoderPath = findVideoEncoder();
  const { widthPx, heightPx } = videoSize(ready.picture, order.videoBox);
  return order.videos.map((kind) => {
    const path = join(outDir, `film-${ready.slug}.${VIDEO_ENDING[kind]}`);
    const video = { encoderPath, kind, outPath: path, widthPx, heightPx, source };
    const encoder = new VideoEncoder({ ...video, framesPerSecond: order.framesPerSecond });
    return { encoder, kind, path, label: `film ${kind} of ${ready.set.name}` };
  });
}

/** 16-bit pictures cannot be handed over one by one, so the films come after the sequence. */
async function encodeFromTiff(
  delivery: SetDelivery,
  ready: ReadySet,
  folder: string,
): Promise<DeliveredFile[]> {
  const files: DeliveredFile[] = [];
  for (const kind of delivery.order.videos) {
    const one = { ...delivery, order: { ...delivery.order, videos: [kind] } };
    const [video] = startEncoders(one, ready, { pattern: join(folder, "%06d.tif") });
    const cancel = (): void => void video!.encoder.cancel();
    delivery.signal.addEventListener("abort", cancel, { once: true });
    const bytes = await video!.encoder.finish();
    delivery.signal.removeEventListener("abort", cancel);
    files.push(videoEntry(delivery.outDir, { ...video!, bytes }, ready));
    const count = ready.frames.length;
    const at = {
      stage: "video",
      label: video!.label,
      doneCount: count,
      totalCount: count,
    } as const;
    delivery.progress.step(at, count * UNITS.video[kind]);
  }
  return files;
}

function videoEntry(
  outDir: string,
  video: { label: string; path: string; bytes: number },
  ready: ReadySet,
): DeliveredFile {
  const frameCount = ready.frames.length;
  const { label, bytes } = video;
  return { kind: "video", label, path: relative(outDir, video.path), bytes, frameCount };
}

async function sequenceEntry(
  folder: string,
  { outDir }: SetDelivery,
  ready: ReadySet,
): Promise<DeliveredFile> {
  const names = await readdir(folder);
  let bytes = 0;
  for (const name of names) bytes += (await stat(join(folder, name))).size;
  const label = `sequence of ${ready.set.name}`;
  const frameCount = ready.frames.length;
  return { kind: "sequence", label, path: relative(outDir, folder), bytes, frameCount };
}

/** The brightest of every pixel over the set, put together from the workers' shares. */
async function makeStarTrail(delivery: SetDelivery, ready: ReadySet): Promise<DeliveredFile> {
  const answers = await delivery.pool.runOnEach({ kind: "takeTrail" });
  let whole: TrailPart | null = null;
  for (const answer of answers) {
    if (answer.kind !== "trailPart" || answer.part === null) continue;
    whole = whole === null ? answer.part : lighten(whole, answer.part);
  }
  const path = `star-trail-${ready.slug}.jpg`;
  const label = `star trail of ${ready.set.name}`;
  const xmp = xmpOfWork(label, delivery.night.info, ready.frames[0]!);
  const bytes = await encodeJpeg(whole!, xmp, 95);
  await writeWhole(join(delivery.outDir, path), bytes);
  const frameCount = ready.frames.length;
  return { kind: "starTrail", label, path, bytes: bytes.byteLength, frameCount };
}

function lighten(one: TrailPart, other: TrailPart): TrailPart {
  const rgb = one.rgb.map((value, at) => Math.max(value, other.rgb[at]!));
  return { ...one, rgb };
}

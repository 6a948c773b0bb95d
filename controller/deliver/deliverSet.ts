import { existsSync } from "node:fs";
import { mkdir, readFile, readdir, rm, stat } from "node:fs/promises";
import { join, relative } from "node:path";
import type { DeliverOrder, DeliveredFile } from "../../core/api/deliverMessages.ts";
import { archiveError } from "../archive/archiveError.ts";
import { writeDurably } from "../durableWrite.ts";
import { encodeJpeg } from "./canvas.ts";
import { UNITS, type DeliveryProgress } from "./deliveryUnits.ts";
import { contextsOf, exifOf, filmTags, xmpOf, type WorkContext } from "./frameMetadata.ts";
import type { FramePool } from "./framePool.ts";
import type { FrameTask, TrailPart } from "./frameTasks.ts";
import { eachOf } from "./measureNight.ts";
import { framingOf, toneResponseOf, type NightToDeliver } from "./nightToDeliver.ts";
import { SetFilms, removeFilms } from "./setFilms.ts";
import type { ReadySet } from "./readySet.ts";

type SetDelivery = {
  readonly night: NightToDeliver;
  readonly order: DeliverOrder;
  readonly outDir: string;
  readonly pool: FramePool;
  readonly signal: AbortSignal;
  readonly progress: DeliveryProgress;
  /** True when what an earlier delivery made is still good. */
  readonly isResumed: boolean;
};

/** A set's sequence, its films fed from it as it grows, its star trail. */
export async function deliverSet(delivery: SetDelivery, ready: ReadySet): Promise<DeliveredFile[]> {
  const { order, signal } = delivery;
  if (order.sequence === "none" && order.videos.length === 0 && !order.starTrail) return [];
  const folder = folderOf(delivery, ready);
  await mkdir(folder, { recursive: true }).catch((thrown: unknown) => {
    throw archiveError(thrown, folder);
  });
  const films = filmsOf(delivery, ready);
  // An encoder may have minutes of work in hand; being stopped does not wait for them.
  const onAbort = (): void => void films.cancel();
  signal.addEventListener("abort", onAbort, { once: true });
  try {
    // 16-bit pictures cannot be handed over one by one, so their films come after the sequence.
    const isPiped = order.sequence !== "tiff16";
    if (isPiped) films.start("pipe");
    await feed(films, startFrames(delivery, ready, folder), signal);
    if (!isPiped) films.start({ pattern: join(folder, "%06d.tif") });
    const files: DeliveredFile[] = [];
    if (order.sequence !== "none") files.push(await sequenceEntry(folder, delivery, ready));
    if (order.starTrail) files.push(await makeStarTrail(delivery, ready));
    files.push(...(await films.finish()));
    if (order.sequence === "none") await rm(folder, { recursive: true, force: true });
    return files;
  } catch (thrown) {
    await films.cancel();
    signal.throwIfAborted();
    throw thrown;
  } finally {
    signal.removeEventListener("abort", onAbort);
  }
}

/** Takes away what another delivery made of a set, so that it is never taken for this one's. */
export async function clearSet(
  delivery: Pick<SetDelivery, "order" | "outDir">,
  ready: ReadySet,
): Promise<void> {
  await rm(folderOf(delivery, ready), { recursive: true, force: true });
  await removeFilms(delivery.outDir, ready, delivery.order.videos);
}

function folderOf(
  { order, outDir }: Pick<SetDelivery, "order" | "outDir">,
  ready: ReadySet,
): string {
  return join(outDir, `${order.sequence === "none" ? ".frames" : "sequence"}-${ready.slug}`);
}

function filmsOf(delivery: SetDelivery, ready: ReadySet): SetFilms {
  const tagsOf = (label: string) => filmTags(workContext(delivery, ready, label));
  return new SetFilms(ready, { ...delivery, tagsOf });
}

function workContext({ night }: SetDelivery, ready: ReadySet, label: string): WorkContext {
  const framing = framingOf(night.catalogue, ready.set.cameraId);
  return { info: night.info, framing, label, first: ready.frames[0]! };
}

async function feed(
  films: SetFilms,
  rendered: readonly RenderedFrame[],
  signal: AbortSignal,
): Promise<void> {
  for (const { path, isWhole } of rendered) {
    await isWhole;
    signal.throwIfAborted();
    if (films.isHungry) await films.write(await readFile(path));
  }
}

type RenderedFrame = {
  readonly path: string;
  /** Resolves when its file is whole. */
  readonly isWhole: Promise<void>;
};

/** Starts all of a set's frames, a few at a time. */
function startFrames(
  delivery: SetDelivery,
  ready: ReadySet,
  folder: string,
): readonly RenderedFrame[] {
  const { order, pool, signal, progress } = delivery;
  const ending = order.sequence === "tiff16" ? "tif" : "jpg";
  const taskOf = taskMaker(delivery, ready);
  const frames = ready.frames.map((_, n) => ({
    path: join(folder, `${String(n + 1).padStart(6, "0")}.${ending}`),
    gate: createGate(),
  }));
  let doneCount = 0;
  const one = async (n: number): Promise<void> => {
    signal.throwIfAborted();
    const { path, gate } = frames[n]!;
    const isGiven = delivery.isResumed && existsSync(path);
    if (!isGiven) await pool.run(taskOf(n, path));
    else if (order.starTrail) await pool.run({ kind: "trail", path });
    doneCount += 1;
    const at = { stage: "frames", label: `frames of ${ready.set.name}`, doneCount } as const;
    progress.step({ ...at, totalCount: frames.length }, UNITS.render, isGiven);
    gate.open();
  };
  eachOf([...frames.keys()], 2 * pool.width, one).catch((thrown: unknown) => {
    for (const { gate } of frames) gate.fail(thrown);
  });
  return frames.map(({ path, gate }) => ({ path, isWhole: gate.opened }));
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
  // Anyone waiting for it hears of the failure; nobody may be waiting yet.
  opened.catch(() => undefined);
  return { opened, open, fail };
}

/** What a worker receives about a frame; what all frames share is looked up once. */
function taskMaker(
  { night, order }: SetDelivery,
  ready: ReadySet,
): (n: number, outPath: string) => FrameTask {
  const { catalogue } = night;
  const contextOf = contextsOf(night);
  const response = toneResponseOf(catalogue, ready.set.cameraId);
  return (n, outPath) => {
    const frame = ready.frames[n]!;
    const gainStops = ready.corrections[n]!.totalStops;
    const context = contextOf(frame, ready.set.name, gainStops);
    return {
      kind: "render",
      path: join(catalogue.nightDir, frame.file!.path),
      outPath,
      format: order.sequence === "tiff16" ? "tiff16" : "jpeg",
      // Without a sequence to keep, nothing larger than the video is needed.
      box: order.sequence === "none" && !order.starTrail ? order.videoBox : null,
      gainStops,
      response,
      ditherSeed: frame.frameIndex,
      exif: exifOf(frame, context),
      xmp: xmpOf(frame, context),
      trail: order.starTrail,
    };
  };
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
  const bytes = await encodeJpeg(whole!, workContext(delivery, ready, label), 95);
  await writeDurably(join(delivery.outDir, path), bytes);
  const frameCount = ready.frames.length;
  const at = { stage: "starTrail", label, doneCount: frameCount, totalCount: frameCount } as const;
  delivery.progress.step(at, frameCount * UNITS.extra);
  return { kind: "starTrail", label, path, bytes: bytes.byteLength, frameCount };
}

function lighten(one: TrailPart, other: TrailPart): TrailPart {
  const rgb = one.rgb.map((value, at) => Math.max(value, other.rgb[at]!));
  return { ...one, rgb };
}

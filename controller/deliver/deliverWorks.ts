import { middleOf } from "../../core/statistics.ts";
import { join } from "node:path";
import type { DeliverResult, DeliveredFile } from "../../core/api/deliverMessages.ts";
import { chooseKeepers, type Keeper } from "../../core/frames/keepers.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import { writeDurably } from "../durableWrite.ts";
import { sidecarPath } from "../archive/keptFiles.ts";
import { isJpegName, originalsOf } from "../archive/originals.ts";
import { keyOf } from "../archive/frameKey.ts";
import { encodeJpeg, encodePng } from "./canvas.ts";
import { drawContactSheet } from "./contactSheet.ts";
import { contextsOf, xmpOf } from "./frameMetadata.ts";
import { drawKeogram } from "./keogram.ts";
import { framingOf, toneResponseOf } from "./nightToDeliver.ts";
import { writeReport } from "./report.ts";
import type { WorksInput } from "./worksInput.ts";

const KEOGRAM_FILE = "keogram";

/** One keogram for each camera, over all of its delivered frames. */
export async function makeKeogram(works: WorksInput): Promise<DeliveredFile[]> {
  const { night, ready, measured, outDir } = works;
  const cameras = [...new Set(ready.map(({ set }) => set.cameraId))];
  const files: DeliveredFile[] = [];
  for (const [n, cameraId] of cameras.entries()) {
    const frames = ready
      .filter(({ set }) => set.cameraId === cameraId)
      .flatMap(({ frames: all, corrections }) =>
        all.map((frame, k) => ({ frame, gainStops: corrections[k]!.totalStops })),
      )
      .filter(({ frame }) => frame.openedUtcMs !== null)
      .sort((a, b) => a.frame.openedUtcMs! - b.frame.openedUtcMs!);
    if (frames.length === 0) continue;
    const { canvas } = drawKeogram(
      frames.map(({ frame, gainStops }) => ({
        openedUtcMs: frame.openedUtcMs!,
        column: measured.frames.get(keyOf(frame))!.column,
        gainStops,
      })),
      {
        framing: framingOf(night.catalogue, cameraId),
        response: toneResponseOf(night.catalogue, cameraId),
        gapMs: gapMsOf(frames.map(({ frame }) => frame)),
      },
    );
    const path = n === 0 ? `${KEOGRAM_FILE}.png` : `${KEOGRAM_FILE}-${n + 1}.png`;
    const label = `keogram of ${cameraId}`;
    const framing = framingOf(night.catalogue, cameraId);
    const first = frames[0]!.frame;
    const bytes = await encodePng(canvas, { info: night.info, framing, label, first });
    await writeDurably(join(outDir, path), bytes);
    const frameCount = frames.length;
    files.push({ kind: "keogram", label, path, bytes: bytes.byteLength, frameCount });
  }
  return files;
}

/** A column reaches over the next frame's usual distance, not over a gap. */
function gapMsOf(frames: readonly FrameRecord[]): number {
  const pauses = frames.slice(1).map((frame, n) => frame.openedUtcMs! - frames[n]!.openedUtcMs!);
  const usualMs = middleOf(pauses) ?? 0;
  return Math.max(60_000, 4 * usualMs);
}

export async function makeContactSheet(works: WorksInput): Promise<DeliveredFile[]> {
  const frames = works.ready.flatMap(({ frames: all }) => all);
  const canvas = await drawContactSheet(
    frames.map((frame) => ({
      ...frame,
      thumbnailJpeg: works.measured.frames.get(keyOf(frame))!.thumbnailJpeg,
    })),
  );
  const label = "contact sheet";
  const first = frames[0]!;
  const bytes = await encodeJpeg(canvas, { info: works.night.info, framing: null, label, first });
  const path = "contact-sheet.jpg";
  await writeDurably(join(works.outDir, path), bytes);
  const frameCount = frames.length;
  return [{ kind: "contactSheet", label, path, bytes: bytes.byteLength, frameCount }];
}

/** The night's keepers, by what was measured and by the photographer's word. */
function keepersOf(works: Pick<WorksInput, "night" | "ready" | "measured">): readonly Keeper[] {
  const candidates = works.ready.flatMap(({ frames }) =>
    frames.map((frame) => ({ ...frame, ...works.measured.frames.get(keyOf(frame))!.measure })),
  );
  return chooseKeepers(candidates, works.night.catalogue.picks());
}

export async function makeReport(
  works: WorksInput,
  result: DeliverResult,
): Promise<DeliveredFile[]> {
  const path = "report.html";
  const html = await writeReport({ ...works, keepers: keepersOf(works), result });
  await writeDurably(join(works.outDir, path), html);
  const bytes = new TextEncoder().encode(html).byteLength;
  const frameCount = works.ready.reduce((sum, { frames }) => sum + frames.length, 0);
  return [{ kind: "report", label: "report of the night", path, bytes, frameCount }];
}

/**
 * XMP files beside the night's own: always beside raw files, which cannot carry any themselves
 * without being changed, beside JPEGs when asked.
 */
export async function writeSidecars(works: WorksInput, besideJpegs: boolean): Promise<void> {
  const { night, ready } = works;
  const { nightDir } = night.catalogue;
  const contextOf = contextsOf(night);
  const originals = new Map(originalsOf(nightDir).map((one) => [keyOf(one), one.file.path]));
  for (const { set, frames, corrections } of ready) {
    for (const [n, frame] of frames.entries()) {
      const paths = new Set([frame.file!.path, originals.get(keyOf(frame)) ?? frame.file!.path]);
      const wanted = [...paths].filter((path) => besideJpegs || !isJpegName(path));
      if (wanted.length === 0) continue;
      const xmp = xmpOf(frame, contextOf(frame, set.name, corrections[n]!.totalStops));
      for (const path of wanted) await writeDurably(join(nightDir, sidecarPath(path)), xmp);
    }
  }
}

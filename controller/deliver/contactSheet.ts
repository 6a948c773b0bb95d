import { decodePicture } from "./pixels.ts";
import {
  LETTER_HEIGHT,
  createCanvas,
  drawPicture,
  drawText,
  type Canvas,
  type Rgb,
} from "./canvas.ts";

type SheetFrame = {
  readonly frameIndex: number;
  readonly openedUtcMs: number | null;
  readonly thumbnailJpeg: Uint8Array;
};

/** A page of prints: six across, at most eight down. */
const COLUMNS = 6;
const ROWS_MAX = 8;
const GAP_PX = 12;
const DOT_PX = 2;
const LABEL_PX = LETTER_HEIGHT * DOT_PX + 8;
const PAPER: Rgb = [255, 255, 255];
const INK: Rgb = [40, 40, 40];

/** Frames evenly spread over those given, each with its number and its Universal Time. */
export async function drawContactSheet(frames: readonly SheetFrame[]): Promise<Canvas> {
  const shown = spread(frames, COLUMNS * ROWS_MAX);
  const pictures = await Promise.all(
    shown.map((frame) => decodePicture(frame.thumbnailJpeg, `frame ${frame.frameIndex}`)),
  );
  const cellWidth = Math.max(1, ...pictures.map((picture) => picture.widthPx));
  const cellHeight = Math.max(1, ...pictures.map((picture) => picture.heightPx)) + LABEL_PX;
  const columns = Math.max(1, Math.min(COLUMNS, shown.length));
  const rows = Math.max(1, Math.ceil(shown.length / columns));
  const canvas = createCanvas(
    GAP_PX + columns * (cellWidth + GAP_PX),
    GAP_PX + rows * (cellHeight + GAP_PX),
    PAPER,
  );
  for (const [n, picture] of pictures.entries()) {
    const x = GAP_PX + (n % columns) * (cellWidth + GAP_PX);
    const y = GAP_PX + Math.floor(n / columns) * (cellHeight + GAP_PX);
    drawPicture(canvas, picture, { x, y });
    const at = { x, y: y + picture.heightPx + 4, dotPx: DOT_PX };
    drawText(canvas, labelOf(shown[n]!), at, INK);
  }
  return canvas;
}

function labelOf({ frameIndex, openedUtcMs }: SheetFrame): string {
  const time = openedUtcMs === null ? "" : new Date(openedUtcMs).toISOString().slice(11, 19);
  return `${frameIndex}  ${time}`;
}

function spread<T>(all: readonly T[], count: number): T[] {
  if (all.length <= count) return [...all];
  return Array.from(
    { length: count },
    (_, n) => all[Math.round((n * (all.length - 1)) / (count - 1))]!,
  );
}

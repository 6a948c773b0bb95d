import { frameGain } from "../../core/frames/frameGain.ts";
import { altitudeMarks, timeMarks, type Framing } from "../../core/frames/keogramAxes.ts";
import type { ToneResponse } from "../../core/photometry/response.ts";
import { applyGainPlain } from "./applyGain.ts";
import {
  LETTER_HEIGHT,
  createCanvas,
  drawText,
  fillRectangle,
  textWidthPx,
  type Canvas,
  type Rgb,
} from "./canvas.ts";

/** A frame's share of a keogram. */
type KeogramFrame = {
  readonly openedUtcMs: number;
  /** RGB bytes, top to bottom. */
  readonly column: Uint8Array;
  readonly gainStops: number;
};

type KeogramOptions = {
  readonly framing: Framing | null;
  readonly response: ToneResponse | null;
  /** Longer than this without a frame stays dark, ms. */
  readonly gapMs: number;
};

const INK: Rgb = [200, 200, 200];
const PAPER: Rgb = [12, 12, 14];
const DOT_PX = 2;
const MARGIN = { left: 64, right: 16, top: 26, bottom: 44 };
const WIDTH_PX_MIN = 960;
const WIDTH_PX_MAX = 6000;
const TICK_PX = 6;

/** Where the picture itself lies in the keogram, for reading it back. */
type KeogramLayout = {
  readonly left: number;
  readonly top: number;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly startUtcMs: number;
  readonly endUtcMs: number;
};

/**
 * A keogram: Universal Time runs from left to right, the middle column's sky stands upright, its
 * higher altitudes at the top. Time is to scale, so that a gap is a gap and a change of pace shows
 * as wider columns; gaps are left dark.
 *
 * Convention: Eather et al. 1976, J. Geophys. Res. 81 (the keogram), time rightwards, poleward or
 * zenith up; from memory.
 */
export function drawKeogram(
  frames: readonly KeogramFrame[],
  options: KeogramOptions,
): { readonly canvas: Canvas; readonly layout: KeogramLayout } {
  const heightPx = Math.max(1, ...frames.map((frame) => frame.column.length / 3));
  const widthPx = Math.min(WIDTH_PX_MAX, Math.max(WIDTH_PX_MIN, frames.length));
  const layout: KeogramLayout = {
    left: MARGIN.left,
    top: MARGIN.top,
    widthPx,
    heightPx,
    startUtcMs: frames[0]?.openedUtcMs ?? 0,
    endUtcMs: endOf(frames),
  };
  const canvas = createCanvas(
    MARGIN.left + widthPx + MARGIN.right,
    MARGIN.top + heightPx + MARGIN.bottom,
    PAPER,
  );
  drawColumns(canvas, layout, frames, options);
  drawTimeAxis(canvas, layout);
  drawAltitudeAxis(canvas, layout, options.framing);
  return { canvas, layout };
}

/** The last column is as wide as the one before it. */
function endOf(frames: readonly KeogramFrame[]): number {
  const [last, before] = [frames.at(-1)?.openedUtcMs ?? 1, frames.at(-2)?.openedUtcMs];
  return before === undefined ? last + 1000 : last + (last - before);
}

function drawColumns(
  canvas: Canvas,
  layout: KeogramLayout,
  frames: readonly KeogramFrame[],
  options: KeogramOptions,
): void {
  const spanMs = Math.max(1, layout.endUtcMs - layout.startUtcMs);
  let n = 0;
  let column: Uint8Array | null = null;
  for (let x = 0; x < layout.widthPx; x += 1) {
    const atMs = layout.startUtcMs + ((x + 0.5) / layout.widthPx) * spanMs;
    while (n + 1 < frames.length && frames[n + 1]!.openedUtcMs <= atMs) {
      n += 1;
      column = null;
    }
    const frame = frames[n];
    if (frame === undefined || atMs - frame.openedUtcMs > options.gapMs) continue;
    column ??= applyGainPlain(frame.column, frameGain(frame.gainStops, options.response));
    drawColumn(canvas, layout, x, column);
  }
}

function drawColumn(canvas: Canvas, layout: KeogramLayout, x: number, column: Uint8Array): void {
  const rows = column.length / 3;
  for (let y = 0; y < layout.heightPx; y += 1) {
    const row = Math.min(rows - 1, Math.floor((y * rows) / layout.heightPx));
    const at = ((layout.top + y) * canvas.widthPx + layout.left + x) * 3;
    for (let channel = 0; channel < 3; channel += 1) {
      canvas.rgb[at + channel] = column[row * 3 + channel]!;
    }
  }
}

function drawTimeAxis(canvas: Canvas, layout: KeogramLayout): void {
  const bottom = layout.top + layout.heightPx;
  for (const mark of timeMarks(layout.startUtcMs, layout.endUtcMs, 8)) {
    const x = layout.left + Math.round(mark.at * (layout.widthPx - 1));
    fillRectangle(canvas, { x, y: bottom, widthPx: 1, heightPx: TICK_PX }, INK);
    const half = textWidthPx(mark.label, DOT_PX) / 2;
    const left = Math.min(canvas.widthPx - 2 * half - 2, Math.max(2, Math.round(x - half)));
    drawText(canvas, mark.label, { x: left, y: bottom + TICK_PX + 3, dotPx: DOT_PX }, INK);
  }
  const date = new Date(layout.startUtcMs).toISOString().slice(0, 10);
  const title = `UT from ${date}`;
  const y = canvas.heightPx - LETTER_HEIGHT * DOT_PX - 3;
  drawText(canvas, title, { x: layout.left, y, dotPx: DOT_PX }, INK);
}

function drawAltitudeAxis(canvas: Canvas, layout: KeogramLayout, framing: Framing | null): void {
  const title = framing === null ? "Top of the frame up" : "Altitude";
  drawText(canvas, title, { x: 4, y: 6, dotPx: DOT_PX }, INK);
  if (framing === null) return;
  for (const mark of altitudeMarks(framing)) {
    const y = layout.top + Math.round(mark.at * (layout.heightPx - 1));
    fillRectangle(canvas, { x: layout.left - TICK_PX, y, widthPx: TICK_PX, heightPx: 1 }, INK);
    const x = layout.left - TICK_PX - 3 - textWidthPx(mark.label, DOT_PX);
    const top = Math.max(MARGIN.top - 4, y - (LETTER_HEIGHT * DOT_PX) / 2);
    drawText(canvas, mark.label, { x, y: top, dotPx: DOT_PX }, INK);
  }
}

import type { NightLight } from "../../../core/plan/nightLight.ts";
import { clockTime } from "../format/time.ts";
import type { KeogramTiles } from "../state/keogramTiles.svelte.ts";
import type { NightMark } from "../state/marks.ts";
import type { TracePoint } from "../state/tracePoint.ts";
import type { Palette } from "../theme/palette.ts";
import { breaksOf, LANES, laneScale } from "./lanes.ts";
import { timeTicks, type TimeScale } from "./timeScale.ts";

/** Height of the axis with its times, CSS pixels. */
export const AXIS_HEIGHT_PX = 24;

/** Height of the Moon's bar along the axis, CSS pixels. */
const MOON_BAR_PX = 3;

/** Height of the band with the marks, CSS pixels. */
export const MARKS_HEIGHT_PX = 20;

/** A canvas made sharp on this screen, cleared, with CSS pixels as its units. */
export function prepared(
  canvas: HTMLCanvasElement,
  size: { widthPx: number; heightPx: number },
): CanvasRenderingContext2D | null {
  const ratio = window.devicePixelRatio || 1;
  const [width, height] = [Math.round(size.widthPx * ratio), Math.round(size.heightPx * ratio)];
  if (canvas.width !== width) canvas.width = width;
  if (canvas.height !== height) canvas.height = height;
  const context = canvas.getContext("2d");
  context?.setTransform(ratio, 0, 0, ratio, 0, 0);
  context?.clearRect(0, 0, size.widthPx, size.heightPx);
  return context;
}

/** Each frame's slice from its opening to the next one's. */
export function drawKeogram(
  context: CanvasRenderingContext2D,
  parts: {
    scale: TimeScale;
    heightPx: number;
    points: readonly TracePoint[];
    tiles: KeogramTiles;
  },
): void {
  const { scale, heightPx, points, tiles } = parts;
  const breaks = breaksOf(points);
  let drawnTo = -Infinity;
  context.imageSmoothingEnabled = true;
  points.forEach((point, at) => {
    const next = breaks.has(at + 1) ? undefined : points[at + 1];
    const ownEnd = point.openedUtcMs + point.exposureSeconds * 1000 + 1500;
    const right = Math.ceil(scale.xOf(next?.openedUtcMs ?? ownEnd));
    const left = Math.max(drawnTo, Math.floor(scale.xOf(point.openedUtcMs)));
    if (right < 0 || left > scale.widthPx || right <= drawnTo) return;
    const column = tiles.columnOf(point.frameIndex);
    if (column === null) return;
    context.drawImage(
      column.tile,
      column.x,
      0,
      1,
      column.tile.height,
      left,
      0,
      right - left,
      heightPx,
    );
    drawnTo = right;
  });
}

/**
 * Surges, gaps and guards in a band of their own above the keogram, told apart by their shapes; a gap
 * is also hatched through the keogram, where there is nothing else to see.
 */
export function drawMarks(
  context: CanvasRenderingContext2D,
  parts: {
    scale: TimeScale;
    heightPx: number;
    marks: readonly NightMark[];
    nowUtcMs: number;
    palette: Palette;
  },
): void {
  const { scale, heightPx, marks, nowUtcMs, palette } = parts;
  for (const mark of marks) {
    const left = scale.xOf(mark.startUtcMs);
    const right = Math.max(left + 2, scale.xOf(mark.endUtcMs ?? nowUtcMs));
    if (mark.kind === "gap") hatch(context, { left, right, heightPx, palette });
    if (mark.kind === "surge") surgeBar(context, { left, right, palette });
    if (mark.kind === "guard") flag(context, { x: left, palette });
  }
}

/** A peak at the onset, and a bar for as long as it lasts. */
function surgeBar(
  context: CanvasRenderingContext2D,
  { left, right, palette }: { left: number; right: number; palette: Palette },
): void {
  context.fillStyle = palette.ink;
  context.beginPath();
  context.moveTo(left - 6, MARKS_HEIGHT_PX - 3);
  context.lineTo(left, 3);
  context.lineTo(left + 6, MARKS_HEIGHT_PX - 3);
  context.fill();
  context.fillRect(left, MARKS_HEIGHT_PX - 6, right - left, 3);
}

function hatch(
  context: CanvasRenderingContext2D,
  parts: { left: number; right: number; heightPx: number; palette: Palette },
): void {
  const { left, right, heightPx, palette } = parts;
  const width = Math.max(3, right - left);
  context.strokeStyle = palette.ink;
  context.lineWidth = 1.5;
  context.strokeRect(left, 4, width, MARKS_HEIGHT_PX - 8);
  context.save();
  context.beginPath();
  context.rect(left, MARKS_HEIGHT_PX, width, heightPx - MARKS_HEIGHT_PX);
  context.clip();
  context.strokeStyle = palette.hatch;
  for (let x = left - heightPx; x < right; x += 7) {
    context.beginPath();
    context.moveTo(x, heightPx);
    context.lineTo(x + heightPx, 0);
    context.stroke();
  }
  context.restore();
}

function flag(
  context: CanvasRenderingContext2D,
  { x, palette }: { x: number; palette: Palette },
): void {
  context.fillStyle = palette.ink;
  context.fillRect(x - 1, 2, 2, MARKS_HEIGHT_PX - 4);
  context.beginPath();
  context.moveTo(x + 1, 2);
  context.lineTo(x + 12, 6.5);
  context.lineTo(x + 1, 11);
  context.fill();
}

/** The three curves one above the other, and the time axis below them. */
export function drawLanes(
  context: CanvasRenderingContext2D,
  parts: {
    scale: TimeScale;
    laneHeightPx: number;
    points: readonly TracePoint[];
    light: NightLight | null;
    palette: Palette;
  },
): void {
  const { scale, laneHeightPx, points, light, palette } = parts;
  const top = LANES.length * laneHeightPx;
  if (light !== null) drawLight(context, { scale, heightPx: top, light, palette });
  const breaks = breaksOf(points);
  const ticks = timeTicks(scale);
  context.font = `12px ${palette.font}`;
  context.textBaseline = "middle";
  LANES.forEach((lane, number) => {
    context.save();
    context.translate(0, number * laneHeightPx);
    grid(context, { scale, ticks, heightPx: laneHeightPx, palette });
    const onScale = laneScale(lane, points, laneHeightPx);
    if (onScale !== null) {
      for (const { y, label } of onScale.rungs) {
        context.strokeStyle = palette.line;
        context.lineWidth = 1;
        line(context, 0, Math.round(y) + 0.5, scale.widthPx, Math.round(y) + 0.5);
        context.fillStyle = palette.inkSoft;
        context.textAlign = "left";
        context.fillText(label, scale.widthPx + 6, y);
      }
      curve(context, { scale, points, breaks, valueOf: lane.valueOf, yOf: onScale.yOf, palette });
    }
    context.restore();
  });
  drawAxis(context, { ...parts, ticks, top });
}

/** Twilight and darkness behind the curves; the Moon as a bar along the axis while it is up. */
function drawLight(
  context: CanvasRenderingContext2D,
  parts: { scale: TimeScale; heightPx: number; light: NightLight; palette: Palette },
): void {
  const { scale, heightPx, light, palette } = parts;
  const onStrip = (utcMs: number): number => Math.min(scale.widthPx, Math.max(0, scale.xOf(utcMs)));
  for (const band of light.bands) {
    const [left, right] = [onStrip(band.startUtcMs), onStrip(band.endUtcMs)];
    if (right <= left) continue;
    context.fillStyle = palette.sky[band.light];
    context.fillRect(left, 0, right - left, heightPx);
    context.strokeStyle = palette.line;
    context.lineWidth = 1;
    if (left > 0) line(context, Math.round(left) + 0.5, 0, Math.round(left) + 0.5, heightPx);
  }
  context.fillStyle = palette.curveSoft;
  for (const { startUtcMs, endUtcMs } of light.moonUp) {
    const left = onStrip(startUtcMs);
    context.fillRect(left, heightPx - MOON_BAR_PX, onStrip(endUtcMs) - left, MOON_BAR_PX);
  }
}

function grid(
  context: CanvasRenderingContext2D,
  parts: { scale: TimeScale; ticks: readonly number[]; heightPx: number; palette: Palette },
): void {
  const { scale, ticks, heightPx, palette } = parts;
  context.strokeStyle = palette.edge;
  context.lineWidth = 1;
  line(context, 0, 0.5, scale.widthPx, 0.5);
  context.strokeStyle = palette.shade;
  for (const tick of ticks) {
    const x = Math.round(scale.xOf(tick)) + 0.5;
    line(context, x, 1, x, heightPx);
  }
}

function curve(
  context: CanvasRenderingContext2D,
  parts: {
    scale: TimeScale;
    points: readonly TracePoint[];
    breaks: ReadonlySet<number>;
    valueOf: (point: TracePoint) => number | null;
    yOf: (value: number) => number;
    palette: Palette;
  },
): void {
  const { scale, points, breaks, valueOf, yOf, palette } = parts;
  context.strokeStyle = palette.curve;
  context.fillStyle = palette.curve;
  context.lineWidth = 1.75;
  context.lineJoin = "round";
  context.beginPath();
  let isDown = false;
  let last: { x: number; y: number } | null = null;
  points.forEach((point, at) => {
    const value = valueOf(point);
    if (value === null || !(value > 0)) {
      isDown = false;
      return;
    }
    const [x, y] = [scale.xOf(point.openedUtcMs), yOf(value)];
    if (isDown && !breaks.has(at)) context.lineTo(x, y);
    else context.moveTo(x, y);
    isDown = true;
    last = { x, y };
  });
  context.stroke();
  if (last !== null) {
    const { x, y } = last as { x: number; y: number };
    context.beginPath();
    context.arc(x, y, 3, 0, 2 * Math.PI);
    context.fill();
  }
}

function drawAxis(
  context: CanvasRenderingContext2D,
  parts: { scale: TimeScale; ticks: readonly number[]; top: number; palette: Palette },
): void {
  const { scale, ticks, top, palette } = parts;
  context.strokeStyle = palette.edge;
  context.lineWidth = 1;
  line(context, 0, top + 0.5, scale.widthPx, top + 0.5);
  context.fillStyle = palette.ink;
  for (const tick of ticks) {
    const x = scale.xOf(tick);
    line(context, Math.round(x) + 0.5, top, Math.round(x) + 0.5, top + 5);
    const label = clockTime(tick, { seconds: false });
    const half = context.measureText(label).width / 2;
    context.textAlign = x < half ? "left" : "center";
    if (x + half <= scale.widthPx + 40) context.fillText(label, Math.max(0, x), top + 15);
  }
}

function line(
  context: CanvasRenderingContext2D,
  fromX: number,
  fromY: number,
  toX: number,
  toY: number,
): void {
  context.beginPath();
  context.moveTo(fromX, fromY);
  context.lineTo(toX, toY);
  context.stroke();
}

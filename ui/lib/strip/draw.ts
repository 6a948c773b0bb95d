import type { NightLight } from "../../../core/plan/nightLight.ts";
import { clockTime } from "../format/time.ts";
import type { KeogramTiles } from "../state/keogramTiles.svelte.ts";
import type { NightMark } from "../state/marks.ts";
import type { TracePoint } from "../state/tracePoint.ts";
import type { Palette } from "../theme/palette.ts";
import { words } from "../../../core/words/words.ts";
import { LANES, type LaneScale } from "./lanes.ts";
import { firstFrom } from "./nearest.ts";
import { timeTicks, type TimeScale } from "./timeScale.ts";

/** Height of the axis with its times, CSS pixels. */
export const AXIS_HEIGHT_PX = 18;

/** Height of the row that names twilight, darkness and Moon, CSS pixels. */
export const LIGHT_HEIGHT_PX = 16;

/** Height of the Moon's bar in it, CSS pixels. */
const MOON_BAR_PX = 3;

/** Height of the band with the marks, CSS pixels. */
export const MARKS_HEIGHT_PX = 18;

/** Lower lanes have no room for the figures of their scale. */
const LANE_WITH_RUNGS_PX = 30;

/** Two names closer than this would run into one another, CSS pixels. */
const NAME_ROOM_PX = 8;

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

/** Frames that are drawn as one picture where they are finer than the screen. */
const RUN_FRAMES = 32;

/** Each frame's slice from its opening to the next one's; where they are finer than pixels, run by run. */
export function drawKeogram(
  context: CanvasRenderingContext2D,
  parts: {
    scale: TimeScale;
    heightPx: number;
    points: readonly TracePoint[];
    breaks: ReadonlySet<number>;
    tiles: KeogramTiles;
  },
): void {
  const { scale, heightPx, points, breaks, tiles } = parts;
  const [first, end] = inSight(points, scale);
  const isFine = end - first > scale.widthPx;
  context.imageSmoothingEnabled = true;
  const leftOf = (at: number): number => Math.floor(scale.xOf(points[at]?.openedUtcMs ?? 0));
  const rightOf = (at: number): number => {
    const point = points[at];
    const next = breaks.has(at + 1) ? undefined : points[at + 1];
    const ownEnd = (point?.openedUtcMs ?? 0) + (point?.exposureSeconds ?? 0) * 1000 + 1500;
    return Math.ceil(scale.xOf(next?.openedUtcMs ?? ownEnd));
  };
  for (let at = first; at < end;) {
    const column = tiles.columnOf(points[at]?.frameIndex ?? -1);
    if (column === null) {
      at += 1;
      continue;
    }
    let count = 1;
    while (isFine && count < RUN_FRAMES && at + count < end && !breaks.has(at + count)) {
      const next = tiles.columnOf(points[at + count]?.frameIndex ?? -1);
      if (next?.tile !== column.tile || next.x !== column.x + count) break;
      count += 1;
    }
    const [left, right] = [leftOf(at), rightOf(at + count - 1)];
    const { tile, x } = column;
    context.drawImage(tile, x, 0, count, tile.height, left, 0, right - left, heightPx);
    at += count;
  }
}

/** The indices of the points that a scale shows, and one on either side of them. */
function inSight(
  points: readonly TracePoint[],
  { startUtcMs, endUtcMs }: TimeScale,
): readonly [first: number, end: number] {
  return [
    Math.max(0, firstFrom(points, startUtcMs) - 1),
    Math.min(points.length, firstFrom(points, endUtcMs) + 1),
  ];
}

/**
 * Surges, gaps and guards in a band of their own above the keogram, distinguished by their shapes and
 * named where there is room; a gap is also hatched through the keogram, where there is nothing else
 * to see.
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
  context.font = `12px ${palette.font}`;
  context.textBaseline = "middle";
  context.textAlign = "left";
  marks.forEach((mark, at) => {
    const left = scale.xOf(mark.startUtcMs);
    const right = Math.max(left + 2, scale.xOf(mark.endUtcMs ?? nowUtcMs));
    if (mark.kind === "gap") hatch(context, { left, right, heightPx, palette });
    if (mark.kind === "surge") surgeBar(context, { left, right, palette });
    if (mark.kind === "guard") flag(context, { x: left, palette });
    const next = marks[at + 1];
    const nameLeft = mark.kind === "gap" ? Math.max(left, right) + 5 : left + NAME_OFFSET_PX;
    const end = next === undefined ? scale.widthPx : scale.xOf(next.startUtcMs) - NAME_ROOM_PX;
    if (nameLeft < 0 || nameLeft + context.measureText(mark.name).width > end) return;
    context.fillStyle = palette.ink;
    context.fillText(mark.name, nameLeft, MARKS_HEIGHT_PX / 2 - 1);
  });
}

/** From a mark's moment to its name, clear of the shape. */
const NAME_OFFSET_PX = 15;

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

/** The three curves one above the other, what the Sun and the Moon do, and the time axis below. */
export function drawLanes(
  context: CanvasRenderingContext2D,
  parts: {
    scale: TimeScale;
    laneHeightPx: number;
    points: readonly TracePoint[];
    breaks: ReadonlySet<number>;
    laneScales: readonly (LaneScale | null)[];
    light: NightLight | null;
    palette: Palette;
  },
): void {
  const { scale, laneHeightPx, light, laneScales, palette } = parts;
  const lanesPx = LANES.length * laneHeightPx;
  context.font = `12px ${palette.font}`;
  context.textBaseline = "middle";
  if (light !== null) drawLight(context, { scale, topPx: lanesPx, light, palette });
  const ticks = timeTicks(scale);
  LANES.forEach((lane, number) => {
    context.save();
    context.translate(0, number * laneHeightPx);
    grid(context, { scale, ticks, heightPx: laneHeightPx, palette });
    const onScale = laneScales[number];
    if (onScale) {
      if (laneHeightPx >= LANE_WITH_RUNGS_PX) rungs(context, { scale, onScale, palette });
      curve(context, { ...parts, valueOf: lane.valueOf, yOf: onScale.yOf });
    }
    context.restore();
  });
  drawAxis(context, { ...parts, ticks, top: lanesPx + LIGHT_HEIGHT_PX });
}

function rungs(
  context: CanvasRenderingContext2D,
  { scale, onScale, palette }: { scale: TimeScale; onScale: LaneScale; palette: Palette },
): void {
  for (const { y, label } of onScale.rungs) {
    context.strokeStyle = palette.line;
    context.lineWidth = 1;
    line(context, 0, Math.round(y) + 0.5, scale.widthPx, Math.round(y) + 0.5);
    context.fillStyle = palette.inkSoft;
    context.textAlign = "left";
    context.fillText(label, scale.widthPx + 6, y);
  }
}

/** Twilight and darkness behind the curves, named in a row below them; the Moon as a bar in that row. */
function drawLight(
  context: CanvasRenderingContext2D,
  parts: { scale: TimeScale; topPx: number; light: NightLight; palette: Palette },
): void {
  const { scale, topPx, light, palette } = parts;
  const onStrip = (utcMs: number): number => Math.min(scale.widthPx, Math.max(0, scale.xOf(utcMs)));
  const heightPx = topPx + LIGHT_HEIGHT_PX;
  for (const band of light.bands) {
    const [left, right] = [onStrip(band.startUtcMs), onStrip(band.endUtcMs)];
    if (right <= left) continue;
    context.fillStyle = palette.sky[band.light];
    context.fillRect(left, 0, right - left, heightPx);
    context.strokeStyle = palette.line;
    context.lineWidth = 1;
    if (left > 0) line(context, Math.round(left) + 0.5, 0, Math.round(left) + 0.5, heightPx);
    context.fillStyle = palette.ink;
    nameWithin(context, {
      names: words.strip.lights[band.light],
      left,
      right,
      y: topPx + (LIGHT_HEIGHT_PX - MOON_BAR_PX) / 2,
    });
  }
  context.fillStyle = palette.curveSoft;
  for (const { startUtcMs, endUtcMs } of light.moonUp) {
    const left = onStrip(startUtcMs);
    context.fillRect(left, heightPx - MOON_BAR_PX, onStrip(endUtcMs) - left, MOON_BAR_PX);
  }
}

/** The longest of the names that fits, from the left; none when there is no room. */
function nameWithin(
  context: CanvasRenderingContext2D,
  parts: { names: readonly string[]; left: number; right: number; y: number },
): void {
  const { names, left, right, y } = parts;
  const roomPx = right - left - 2 * NAME_ROOM_PX;
  const name = names.find((one) => context.measureText(one).width <= roomPx);
  if (name === undefined) return;
  context.textAlign = "left";
  context.fillText(name, left + NAME_ROOM_PX, y);
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

/**
 * One curve. Where many frames fall on one pixel, what is drawn of them is where they begin and end
 * and how far they reach: the line looks the same, and ten thousand frames cost as much as a screen.
 */
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
  let column: { x: number; lowest: number; highest: number; last: number } | null = null;
  const finish = (): void => {
    if (column === null || column.lowest === column.highest) return;
    context.lineTo(column.x, column.lowest);
    context.lineTo(column.x, column.highest);
    context.lineTo(column.x, column.last);
  };
  const [first, end] = inSight(points, scale);
  for (let at = first; at < end; at += 1) {
    const point = points[at];
    const value = point === undefined ? null : valueOf(point);
    if (point === undefined || value === null || !(value > 0)) {
      isDown = false;
      continue;
    }
    const [x, y] = [scale.xOf(point.openedUtcMs), yOf(value)];
    const isJoined = isDown && !breaks.has(at);
    if (isJoined && column !== null && x - column.x < 1) {
      column.lowest = Math.min(column.lowest, y);
      column.highest = Math.max(column.highest, y);
      column.last = y;
      continue;
    }
    finish();
    if (isJoined) context.lineTo(x, y);
    else context.moveTo(x, y);
    column = { x, lowest: y, highest: y, last: y };
    isDown = true;
  }
  finish();
  context.stroke();
  if (column !== null && end === points.length) {
    context.beginPath();
    context.arc(column.x, column.last, 2.5, 0, 2 * Math.PI);
    context.fill();
  }
}

/** The time axis alone, for a strip without curves. */
export function drawAxisAlone(
  context: CanvasRenderingContext2D,
  { scale, palette }: { scale: TimeScale; palette: Palette },
): void {
  context.font = `12px ${palette.font}`;
  context.textBaseline = "middle";
  drawAxis(context, { scale, palette, ticks: timeTicks(scale), top: 0 });
}

const MINUTE_MS = 60_000;

function drawAxis(
  context: CanvasRenderingContext2D,
  parts: { scale: TimeScale; ticks: readonly number[]; top: number; palette: Palette },
): void {
  const { scale, ticks, top, palette } = parts;
  context.strokeStyle = palette.edge;
  context.lineWidth = 1;
  line(context, 0, top + 0.5, scale.widthPx, top + 0.5);
  context.fillStyle = palette.ink;
  const seconds = ticks.some((tick) => tick % MINUTE_MS !== 0);
  for (const tick of ticks) {
    const x = scale.xOf(tick);
    line(context, Math.round(x) + 0.5, top, Math.round(x) + 0.5, top + 4);
    const label = clockTime(tick, { seconds });
    const half = context.measureText(label).width / 2;
    context.textAlign = x < half ? "left" : "center";
    if (x + half <= scale.widthPx) context.fillText(label, Math.max(0, x), top + 11);
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

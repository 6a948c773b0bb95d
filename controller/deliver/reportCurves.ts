import { timeMarks } from "../../core/frames/keogramAxes.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";

type Point = { readonly atMs: number; readonly value: number };

const WIDTH = 900;
const ROW = 110;
const LEFT = 64;
const GAP = 26;

/** Sky brightness, exposure and ISO over the night, on one time axis, each on a scale of doublings. */
export function drawCurves(frames: readonly FrameRecord[]): string {
  const kept = frames.filter((frame) => frame.openedUtcMs !== null && frame.status === "kept");
  if (kept.length === 0) return "<p>No frame was kept.</p>";
  const times = kept.map((frame) => frame.openedUtcMs!);
  const span = { startMs: Math.min(...times), endMs: Math.max(...times) };
  const pointsOf = (pick: (frame: FrameRecord) => number | null): Point[] =>
    kept.flatMap((frame) => {
      const value = pick(frame);
      return value === null || value <= 0 ? [] : [{ atMs: frame.openedUtcMs!, value }];
    });
  const rows = [
    row(
      "Sky, cd/m²",
      pointsOf((frame) => frame.reading?.skyLuminanceCdM2 ?? null),
      span,
      0,
    ),
    row(
      "Exposure, s",
      pointsOf((frame) => frame.happened?.exposureSeconds ?? null),
      span,
      1,
    ),
    row(
      "ISO",
      pointsOf((frame) => frame.happened?.iso ?? null),
      span,
      2,
    ),
  ];
  const height = 3 * (ROW + GAP) + 30;
  return [
    `<svg viewBox="0 0 ${WIDTH} ${height}" role="img" aria-label="Sky brightness, exposure and ISO over the night" font-family="system-ui,sans-serif" font-size="12">`,
    ...rows,
    timeAxis(span, height),
    `</svg>`,
  ].join("\n");
}

function timeAxis(span: { startMs: number; endMs: number }, height: number): string {
  return timeMarks(span.startMs, span.endMs, 12)
    .map((mark) => {
      const x = (LEFT + mark.at * (WIDTH - LEFT - 10)).toFixed(1);
      return `<line x1="${x}" x2="${x}" y1="14" y2="${height - 22}" stroke="#e4e4e4"/><text x="${x}" y="${height - 6}" text-anchor="middle">${mark.label}</text>`;
    })
    .join("");
}

function row(
  title: string,
  points: readonly Point[],
  span: { startMs: number; endMs: number },
  n: number,
): string {
  const top = n * (ROW + GAP) + 16;
  if (points.length === 0) return `<text x="${LEFT}" y="${top}">${title}: not known</text>`;
  const logs = points.map((point) => Math.log2(point.value));
  const [low, high] = [Math.floor(Math.min(...logs)), Math.ceil(Math.max(...logs) + 1e-9)];
  const range = Math.max(1, high - low);
  const x = (atMs: number): number =>
    LEFT + ((atMs - span.startMs) / Math.max(1, span.endMs - span.startMs)) * (WIDTH - LEFT - 10);
  const y = (value: number): number => top + ROW - ((Math.log2(value) - low) / range) * ROW;
  const path = points
    .map(
      (point, k) =>
        `${k === 0 ? "M" : "L"}${x(point.atMs).toFixed(1)} ${y(point.value).toFixed(1)}`,
    )
    .join("");
  const label = (log: number): string => {
    const at = (top + ROW - ((log - low) / range) * ROW + 4).toFixed(1);
    return `<text x="${LEFT - 6}" y="${at}" text-anchor="end">${Number((2 ** log).toPrecision(2))}</text>`;
  };
  return [
    `<rect x="${LEFT}" y="${top}" width="${WIDTH - LEFT - 10}" height="${ROW}" fill="none" stroke="#bbb"/>`,
    `<text x="${LEFT}" y="${top - 4}">${title}</text>`,
    label(low),
    label(low + range),
    `<path d="${path}" fill="none" stroke="#8a1f11" stroke-width="1.2"/>`,
  ].join("");
}

import type { FrameRecord } from "../../core/night/frameRecord.ts";

/** One line a frame for the terminal: when, how long, ISO, aperture, stops from target, why. */
export function storyLine(frame: FrameRecord, cameraLabel: string | null): string {
  const { exposureSeconds, iso, fNumber } = frame.happened ?? frame.ordered;
  const time = frame.openedUtcMs === null ? "--:--:--" : clockTime(frame.openedUtcMs);
  return [
    time,
    ...(cameraLabel === null ? [] : [cameraLabel]),
    `#${String(frame.frameIndex).padStart(4, "0")}`,
    `${seconds(exposureSeconds)} s`,
    `ISO ${Math.round(iso)}`.padEnd(9),
    `f/${fNumber}`,
    frame.reading === null
      ? "not metered"
      : `${signed(frame.reading.skyStops - frame.targetStops)} stop`,
    frame.reasons.join("; "),
  ].join("  ");
}

function clockTime(utcMs: number): string {
  return `${new Date(utcMs).toISOString().slice(11, 19)} UTC`;
}

function seconds(value: number): string {
  return (value < 9.995 ? value.toFixed(2) : value.toFixed(1)).padStart(5);
}

function signed(stops: number): string {
  return `${stops < 0 ? "−" : "+"}${Math.abs(stops).toFixed(2)}`;
}

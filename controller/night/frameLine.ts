import { daemonWords } from "../../core/words/daemonWords.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";

/** What a terminal shows without wrapping. */
const COLUMNS = 100;

/**
 * One line a frame for the terminal: when, how long, ISO, aperture, stops from target, why. Reasons
 * that find no room in the line are left to the page, which has them all.
 */
export function frameLine(frame: FrameRecord, cameraLabel: string | null): string {
  const { exposureSeconds, iso, fNumber } = frame.happened ?? frame.ordered;
  const figures = [
    frame.openedUtcMs === null ? "--:--:--" : clockTime(frame.openedUtcMs),
    ...(cameraLabel === null ? [] : [cameraLabel]),
    numberText(frame.frameIndex),
    `${seconds(exposureSeconds)} s`,
    `ISO ${String(Math.round(iso)).padEnd(5)}`,
    `f/${fNumber}`.padEnd(5),
    frame.reading === null
      ? daemonWords.frames.notMetered
      : `${signed(frame.reading.skyStops - frame.targetStops)} stop`,
  ].join(" ");
  return `${figures}  ${inOneLine(frame.reasons, COLUMNS - figures.length - 2)}`;
}

/** One line for a frame of which no picture came. */
export function missingLine(frameIndex: number, why: string, cameraLabel: string | null): string {
  const label = cameraLabel === null ? "" : `${cameraLabel} `;
  return `--:--:-- ${label}${numberText(frameIndex)} ${daemonWords.frames.noPicture(why)}`;
}

function numberText(frameIndex: number): string {
  return `#${String(frameIndex).padStart(4, "0")}`;
}

/** As many reasons as there is room for, the first ones first. */
function inOneLine(reasons: readonly string[], columns: number): string {
  const all = reasons.join("; ");
  if (all.length <= columns) return all;
  for (let count = reasons.length - 1; count > 0; count -= 1) {
    const some = `${reasons.slice(0, count).join("; ")} …`;
    if (some.length <= columns) return some;
  }
  const first = reasons[0] ?? "";
  const end = first.lastIndexOf(" ", columns - 2);
  return `${first.slice(0, end > 0 ? end : columns - 2)} …`;
}

function clockTime(utcMs: number): string {
  return new Date(utcMs).toISOString().slice(11, 19);
}

function seconds(value: number): string {
  return (value < 9.995 ? value.toFixed(2) : value.toFixed(1)).padStart(5);
}

function signed(stops: number): string {
  const text = Math.abs(stops).toFixed(2);
  return `${stops < 0 && Number(text) > 0 ? "−" : "+"}${text}`;
}

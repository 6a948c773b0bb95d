import type { UtcMs } from "../../core/units.ts";

/** A moment on this computer's own clock, as in 23:41: the page is read beside it. */
export function laptopClockText(at: UtcMs): string {
  const date = new Date(at);
  return [date.getHours(), date.getMinutes()]
    .map((part) => String(part).padStart(2, "0"))
    .join(":");
}

/** A moment as the terminal's lines of frames have it, as in 22:41 UTC. */
export function terminalClockText(at: UtcMs): string {
  return `${new Date(at).toISOString().slice(11, 16)} UTC`;
}

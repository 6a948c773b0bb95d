/** A moment on the laptop's own clock, as in 23:41:07. */
export function clockTime(utcMs: number, options: { seconds?: boolean } = {}): string {
  const date = new Date(utcMs);
  const parts = [date.getHours(), date.getMinutes()];
  if (options.seconds !== false) parts.push(date.getSeconds());
  return parts.map((part) => String(part).padStart(2, "0")).join(":");
}

/** A moment of the plan, as in 23:41; in the hour that comes twice in autumn with its zone. */
export function planTime(utcMs: number): string {
  const text = clockTime(utcMs, { seconds: false });
  const isTwice = [-3_600_000, 3_600_000].some(
    (awayMs) => clockTime(utcMs + awayMs, { seconds: false }) === text,
  );
  return isTwice ? `${text} ${zoneName(utcMs)}` : text;
}

/** The laptop's distance from UTC at a moment, as in UTC+1 or UTC. */
export function zoneName(utcMs: number): string {
  const minutes = -new Date(utcMs).getTimezoneOffset();
  if (minutes === 0) return "UTC";
  const hours = Math.floor(Math.abs(minutes) / 60);
  const rest = Math.abs(minutes) % 60;
  const tail = rest === 0 ? "" : `:${String(rest).padStart(2, "0")}`;
  return `UTC${minutes < 0 ? "−" : "+"}${hours}${tail}`;
}

/** A day, as in Wed 25 Nov. */
export function dayName(utcMs: number): string {
  return new Date(utcMs).toLocaleDateString("en-GB", {
    weekday: "short",
    day: "numeric",
    month: "short",
  });
}

export { stretch } from "../../../core/words/timeWords.ts";

/** Hour of the clock on the wall with its fraction, 0..24. */
export function clockHour(utcMs: number): number {
  const at = new Date(utcMs);
  return at.getHours() + at.getMinutes() / 60;
}

import type { NightLight } from "../../../core/plan/nightLight.ts";
import { LIGHTS } from "../../../core/sky/light.ts";
import { percent } from "../format/figures.ts";
import { clockTime } from "../format/time.ts";
import { words } from "../../../core/words/words.ts";
import type { Stretch } from "./stretch.ts";

/** However little of it the strip shows, a night is reported as a whole. */
const NIGHT_MS = 12 * 3_600_000;

/** When it is darkest and when the Moon is up in the night that the strip shows, in a line. */
export function lightWords(light: NightLight, shown: Stretch): string {
  const { startUtcMs } = shown;
  const night = { startUtcMs, endUtcMs: Math.max(shown.endUtcMs, startUtcMs + NIGHT_MS) };
  return `${darknessWords(light, night)} · ${moonWords(light, night)}`;
}

function darknessWords({ bands }: NightLight, night: Stretch): string {
  const within = bands.filter((band) => overlaps(band, night));
  const darkest = LIGHTS.findLast((light) => within.some((band) => band.light === light));
  const first = within.find((band) => band.light === darkest);
  if (darkest === undefined || first === undefined) return "";
  return words.strip.darkest[darkest](hours(first, night));
}

function moonWords({ moonUp, moonIlluminatedFraction }: NightLight, night: Stretch): string {
  const within = moonUp.filter((up) => overlaps(up, night));
  if (within.length === 0) return words.strip.noMoon;
  const when = within.map((up) => hours(up, night)).join(", ");
  return words.strip.moon(when, percent(Math.round(moonIlluminatedFraction * 100) / 100));
}

function hours(stretch: Stretch, night: Stretch): string {
  const isAll = stretch.startUtcMs <= night.startUtcMs && stretch.endUtcMs >= night.endUtcMs;
  return isAll
    ? words.strip.allNight
    : words.strip.fromTo(clock(stretch.startUtcMs), clock(stretch.endUtcMs));
}

function clock(utcMs: number): string {
  return clockTime(utcMs, { seconds: false });
}

function overlaps(one: Stretch, other: Stretch): boolean {
  return one.startUtcMs < other.endUtcMs && one.endUtcMs > other.startUtcMs;
}

import type { NightLight } from "../../../core/night/nightLight.ts";
import { LIGHTS } from "../../../core/sky/light.ts";
import { percent } from "../format/figures.ts";
import { clockTime } from "../format/time.ts";
import { words } from "../words/words.ts";

type Stretch = { readonly startUtcMs: number; readonly endUtcMs: number };

/** When it is darkest and when the Moon is up within what the strip shows, in a line. */
export function lightWords(light: NightLight, shown: Stretch): string {
  return `${darknessWords(light, shown)} · ${moonWords(light, shown)}`;
}

function darknessWords({ bands }: NightLight, shown: Stretch): string {
  const within = bands.filter((band) => overlaps(band, shown));
  const darkest = LIGHTS.findLast((light) => within.some((band) => band.light === light));
  if (darkest === undefined) return "";
  const dark = within.filter((band) => band.light === darkest);
  const stretch = { startUtcMs: dark[0]!.startUtcMs, endUtcMs: dark.at(-1)!.endUtcMs };
  return words.strip.darkest[darkest](hours(stretch, shown));
}

function moonWords({ moonUp, moonIlluminatedFraction }: NightLight, shown: Stretch): string {
  const within = moonUp.filter((up) => overlaps(up, shown));
  if (within.length === 0) return words.strip.noMoon;
  const when = within.map((up) => hours(up, shown)).join(", ");
  return words.strip.moon(when, percent(Math.round(moonIlluminatedFraction * 100) / 100));
}

function hours(stretch: Stretch, shown: Stretch): string {
  const isAll = stretch.startUtcMs <= shown.startUtcMs && stretch.endUtcMs >= shown.endUtcMs;
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

/**
 * Half of the time over which a course bends, s: so slowly that nobody sees it bend, and a breakup
 * keeps its brightening against the minutes around it. Judgement.
 */
const BEND_SECONDS = 600;

/**
 * A film's exposures, bent down where a frame could not be lifted to them without its highlights
 * rolling off.
 *
 * Each frame's shortfall is held for its neighbourhood (the largest one within ten minutes), and
 * that averaged over the same ten minutes: so the bend is never less than a frame needs, and smooth.
 * No frame is lowered below what it was taken with on its own account.
 *
 * @param course  Film's exposure at each frame, stops.
 * @param limits  The highest that each frame's highlights allow, stops; Infinity: any.
 * @param seconds  When each frame was taken, rising.
 */
export function bendForHighlights(
  course: readonly number[],
  limits: readonly number[],
  seconds: readonly number[],
): readonly number[] {
  const short = course.map((stops, i) => Math.max(0, stops - limits[i]!));
  if (short.every((stops) => stops === 0)) return course;
  const held = overNeighbours(short, seconds, (near) =>
    near.reduce((most, { stops }) => Math.max(most, stops), 0),
  );
  const bend = overNeighbours(held, seconds, (near) => {
    let [sum, weights] = [0, 0];
    for (const { stops, awaySeconds } of near) {
      const weight = 1 - awaySeconds / BEND_SECONDS;
      sum += weight * stops;
      weights += weight;
    }
    return sum / weights;
  });
  return course.map((stops, i) => stops - bend[i]!);
}

type Neighbour = { readonly stops: number; readonly awaySeconds: number };

/** One number a frame, of what lies less than the bend's half time from it, itself included. */
function overNeighbours(
  values: readonly number[],
  seconds: readonly number[],
  sumUp: (near: readonly Neighbour[]) => number,
): readonly number[] {
  let [from, to] = [0, 0];
  return values.map((_, i) => {
    while (seconds[i]! - seconds[from]! >= BEND_SECONDS) from += 1;
    while (to < values.length && seconds[to]! - seconds[i]! < BEND_SECONDS) to += 1;
    return sumUp(
      values.slice(from, to).map((stops, k) => ({
        stops,
        awaySeconds: Math.abs(seconds[from + k]! - seconds[i]!),
      })),
    );
  });
}

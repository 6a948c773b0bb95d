/** Hue angle of linear light in degrees, by its opponent colours. */
export function hueDeg([red, green, blue]: readonly number[]): number {
  const turn = Math.atan2(Math.sqrt(3) * (green! - blue!), 2 * red! - green! - blue!);
  return (turn * 180) / Math.PI;
}

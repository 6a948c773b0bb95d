import type { Kit } from "../plan/kit.ts";

/**
 * Share of a lithium-ion battery's energy that is left in the cold. Common practice, no source;
 * the direction and size agree with Ji, Zhang and Wang 2013, J. Electrochem. Soc. 160:A636.
 */
const COLD_SHARE: readonly (readonly [temperatureC: number, share: number])[] = [
  [-30, 0.3],
  [-20, 0.5],
  [-10, 0.7],
  [0, 0.85],
  [20, 1],
];

/** The share at a temperature, linear between the rows, the end rows' beyond them. */
export function batteryShareAt(temperatureC: number): number {
  const first = COLD_SHARE[0]!;
  if (temperatureC <= first[0]) return first[1];
  for (let index = 1; index < COLD_SHARE.length; index += 1) {
    const [lowC, low] = COLD_SHARE[index - 1]!;
    const [highC, high] = COLD_SHARE[index]!;
    if (temperatureC <= highC) return low + ((temperatureC - lowC) / (highC - lowC)) * (high - low);
  }
  return 1;
}

/** Hours that one charged battery of a kit lasts at a temperature. */
export function batteryHours(kit: Kit, temperatureC: number): number {
  return (kit.batteryWh * batteryShareAt(temperatureC)) / kit.cameraWatts;
}

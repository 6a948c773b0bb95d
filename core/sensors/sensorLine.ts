/**
 * Nattvakt's own line protocol for simple sensors, meant to be printed by a few lines of firmware:
 * ASCII, one reading a line, a word, then `name=number` pairs, as in
 *
 *     light value=0.01234
 *     climate temperatureC=-12.4 humidityPercent=81
 *
 * `light value` is proportional to the light falling on the sensor, in any unit; its scale is
 * learned. Humidity is relative, over water. Lines that begin with `#` are remarks.
 */
type SensorReading =
  | { readonly kind: "light"; readonly value: number }
  | {
      readonly kind: "climate";
      readonly temperatureC: number;
      readonly humidityPercent: number | null;
    };

/** What a line says; null for a remark, an empty or a broken line, or a value out of sense. */
export function readSensorLine(line: string): SensorReading | null {
  const [word, ...pairs] = line.trim().split(/\s+/);
  const numbers = new Map<string, number>();
  for (const pair of pairs) {
    const match = /^([A-Za-z][A-Za-z0-9]*)=([-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?)$/.exec(pair);
    if (!match) return null;
    numbers.set(match[1]!, Number(match[2]));
  }
  switch (word) {
    case "light":
      return light(numbers.get("value"));
    case "climate":
      return climate(numbers.get("temperatureC"), numbers.get("humidityPercent"));
    default:
      return null;
  }
}

function light(value: number | undefined): SensorReading | null {
  return value !== undefined && Number.isFinite(value) && value >= 0
    ? { kind: "light", value }
    : null;
}

function climate(
  temperatureC: number | undefined,
  humidityPercent: number | undefined,
): SensorReading | null {
  // Outside of these a sensor is broken, not the weather.
  if (temperatureC === undefined || !(temperatureC > -90 && temperatureC < 70)) return null;
  const isHumidity =
    humidityPercent !== undefined && humidityPercent >= 0 && humidityPercent <= 105;
  if (humidityPercent !== undefined && !isHumidity) return null;
  return {
    kind: "climate",
    temperatureC,
    humidityPercent: isHumidity ? Math.min(100, humidityPercent) : null,
  };
}

/**
 * One way a sky may behave: a level that wanders, a slope that fades, and a fluctuation about the
 * level that forgets itself. Levels are log2 luminance; all three are Gaussian processes.
 */
export type SkyModel = {
  readonly name: string;
  /** Random walk of the level, stops per square root of a second. */
  readonly wander: number;
  /** Standard deviation of the slope, stops a second; 0: no slope. */
  readonly slope: number;
  /** Time over which a slope fades, seconds. */
  readonly slopeSeconds: number;
  /** Standard deviation of the fluctuation, stops; 0: none. */
  readonly flutter: number;
  /** Time over which a fluctuation forgets itself, seconds. */
  readonly flutterSeconds: number;
  /** Weight before anything has been seen, and what it is drawn back to; any scale. */
  readonly prior: number;
};

const still = { wander: 0, slope: 0, slopeSeconds: 60, flutter: 0, flutterSeconds: 10 };

const named = (
  name: string,
  prior: number,
  change: Partial<Omit<SkyModel, "name" | "prior">>,
): SkyModel => ({ ...still, ...change, name, prior });

/**
 * The bank. Slopes span twilight (0.13 stop/min with a slowly sinking Sun, PHYSICS of twilight by
 * Patat 2006), clouds, and the onset of a breakup (about 0.07 stop/s, Kalmoni et al. 2015);
 * flutter spans pulsating patches of 2 to 20 s (Humberset et al. 2016) and folding curtains.
 */
export const SKY_MODELS: readonly SkyModel[] = [
  named("still", 1, { wander: 0.0003 }),
  named("calm", 1, { wander: 0.002 }),
  named("restless", 1, { wander: 0.012 }),
  named("wild", 1, { wander: 0.06 }),
  named("anything", 1, { wander: 0.4 }),
  named("twilight", 1, { wander: 0.0003, slope: 0.003, slopeSeconds: 1800 }),
  named("cloud edge", 1, { wander: 0.001, slope: 0.01, slopeSeconds: 150 }),
  named("brightening", 1, { wander: 0.003, slope: 0.03, slopeSeconds: 50 }),
  named("onset", 1, { wander: 0.01, slope: 0.07, slopeSeconds: 25 }),
  named("fold", 1, { wander: 0.01, slope: 0.07, slopeSeconds: 6 }),
  named("faint flicker", 1, { wander: 0.002, flutter: 0.06, flutterSeconds: 1 }),
  named("flicker", 1, { wander: 0.004, flutter: 0.2, flutterSeconds: 1 }),
  named("strong flicker", 1, { wander: 0.01, flutter: 0.6, flutterSeconds: 1 }),
  named("faint pulses", 1, { wander: 0.003, flutter: 0.1, flutterSeconds: 6 }),
  named("pulses", 1, { wander: 0.006, flutter: 0.3, flutterSeconds: 5 }),
  named("strong pulses", 1, { wander: 0.012, flutter: 0.8, flutterSeconds: 5 }),
  named("faint waves", 1, { wander: 0.003, flutter: 0.1, flutterSeconds: 25 }),
  named("waves", 1, { wander: 0.006, flutter: 0.3, flutterSeconds: 25 }),
  named("strong waves", 1, { wander: 0.01, flutter: 0.8, flutterSeconds: 25 }),
];

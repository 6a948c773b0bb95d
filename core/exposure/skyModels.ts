/** What a model stands for, in the reasons that the photographer reads. */
export type SkyMood = "still" | "trending" | "pulsing" | "wild";

/**
 * One way a sky may behave: a level that wanders, a slope that fades, and a fluctuation about the
 * level that forgets itself. Levels are log2 luminance; all three are Gaussian processes.
 */
export type SkyModel = {
  readonly name: string;
  readonly mood: SkyMood;
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
  /** Period with which the fluctuation swings, seconds; 0: it does not. Excludes a slope. */
  readonly periodSeconds: number;
  /** Weight before anything has been seen, and what it is drawn back to; any scale. */
  readonly prior: number;
};

const still = {
  wander: 0,
  slope: 0,
  slopeSeconds: 60,
  flutter: 0,
  flutterSeconds: 10,
  periodSeconds: 0,
};

const named = (
  name: string,
  mood: SkyMood,
  prior: number,
  change: Partial<Omit<SkyModel, "name" | "mood" | "prior">>,
): SkyModel => ({ ...still, ...change, name, mood, prior });

/**
 * The bank. Slopes span twilight (0.13 stop/min with a slowly sinking Sun, PHYSICS of twilight by
 * Patat 2006), clouds, and the onset of a breakup (about 0.07 stop/s, Kalmoni et al. 2015);
 * flutter spans pulsating patches of 2 to 20 s (Humberset et al. 2016) and folding curtains.
 */
export const SKY_MODELS: readonly SkyModel[] = [
  named("still", "still", 1, { wander: 0.0003 }),
  named("calm", "still", 1, { wander: 0.002 }),
  named("restless", "wild", 1, { wander: 0.012 }),
  named("wild", "wild", 1, { wander: 0.06 }),
  named("anything", "wild", 1, { wander: 0.4 }),
  named("twilight", "trending", 1, { wander: 0.0003, slope: 0.003, slopeSeconds: 1800 }),
  named("cloud edge", "trending", 1, { wander: 0.001, slope: 0.01, slopeSeconds: 150 }),
  named("brightening", "trending", 1, { wander: 0.003, slope: 0.03, slopeSeconds: 50 }),
  named("onset", "trending", 1, { wander: 0.01, slope: 0.07, slopeSeconds: 25 }),
  named("fold", "trending", 1, { wander: 0.01, slope: 0.07, slopeSeconds: 6 }),
  named("faint flicker", "pulsing", 1, { wander: 0.002, flutter: 0.06, flutterSeconds: 1 }),
  named("flicker", "pulsing", 1, { wander: 0.004, flutter: 0.2, flutterSeconds: 1 }),
  named("strong flicker", "pulsing", 1, { wander: 0.01, flutter: 0.6, flutterSeconds: 1 }),
  named("faint pulses", "pulsing", 1, { wander: 0.003, flutter: 0.1, flutterSeconds: 6 }),
  named("pulses", "pulsing", 1, { wander: 0.006, flutter: 0.3, flutterSeconds: 5 }),
  named("strong pulses", "pulsing", 1, { wander: 0.012, flutter: 0.8, flutterSeconds: 5 }),
  named("faint waves", "pulsing", 1, { wander: 0.003, flutter: 0.1, flutterSeconds: 25 }),
  named("waves", "pulsing", 1, { wander: 0.006, flutter: 0.3, flutterSeconds: 25 }),
  named("strong waves", "pulsing", 1, { wander: 0.01, flutter: 0.8, flutterSeconds: 25 }),
  named("swift beat", "pulsing", 1, {
    wander: 0.004,
    flutter: 0.4,
    flutterSeconds: 8,
    periodSeconds: 5,
  }),
  named("beat", "pulsing", 1, {
    wander: 0.004,
    flutter: 0.4,
    flutterSeconds: 12,
    periodSeconds: 8,
  }),
  named("slow beat", "pulsing", 1, {
    wander: 0.004,
    flutter: 0.4,
    flutterSeconds: 18,
    periodSeconds: 12,
  }),
  named("long beat", "pulsing", 1, {
    wander: 0.004,
    flutter: 0.4,
    flutterSeconds: 25,
    periodSeconds: 18,
  }),
];

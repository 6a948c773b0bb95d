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
 * The bank. Its ranges come from the sky: slopes span twilight (0.13 stop/min with a slowly
 * sinking Sun; Patat et al. 2006), cloud edges and the onset of a breakup (about 0.07 stop/s;
 * Kalmoni et al. 2015), flutter and swings span pulsating patches of 2 to 20 s (Humberset et al.
 * 2016) and folding curtains. Within them the figures were chosen by search over skies drawn at
 * random from published ranges, and confirmed on seeds that the search had not seen. The last six
 * keep their beat for a minute: patches that switch on and off evenly.
 */
export const SKY_MODELS: readonly SkyModel[] = [
  named("still", "still", 1, { wander: 0.00035 }),
  named("calm", "still", 1, { wander: 0.002 }),
  named("drifting", "still", 0.4, { wander: 0.006 }),
  named("uneasy", "wild", 0.3, { wander: 0.014 }),
  named("restless", "wild", 0.48, { wander: 0.034 }),
  named("wild", "wild", 7.9, { wander: 0.055 }),
  named("anything", "wild", 1.6, { wander: 0.4 }),
  named("long twilight", "trending", 0.63, { wander: 0.0001, slope: 0.004, slopeSeconds: 17000 }),
  named("twilight", "trending", 1.6, { wander: 0.0003, slope: 0.0015, slopeSeconds: 15000 }),
  named("cloud edge", "trending", 1, { wander: 0.0016, slope: 0.01, slopeSeconds: 190 }),
  named("brightening", "trending", 11, { wander: 0.0029, slope: 0.078, slopeSeconds: 50 }),
  named("onset", "trending", 1, { wander: 0.01, slope: 0.044, slopeSeconds: 34 }),
  named("fold", "trending", 0.58, { wander: 0.0056, slope: 0.07, slopeSeconds: 3 }),
  named("faint flicker", "pulsing", 0.62, { wander: 0.0011, flutter: 0.06, flutterSeconds: 0.77 }),
  named("flicker", "pulsing", 2, { wander: 0.0024, flutter: 0.12, flutterSeconds: 0.58 }),
  named("strong flicker", "pulsing", 3, { wander: 0.01, flutter: 0.72, flutterSeconds: 0.51 }),
  named("faint pulses", "pulsing", 1.6, { wander: 0.003, flutter: 0.076, flutterSeconds: 6 }),
  named("pulses", "pulsing", 0.13, { wander: 0.0093, flutter: 0.32, flutterSeconds: 4.6 }),
  named("strong pulses", "pulsing", 0.38, { wander: 0.012, flutter: 0.8, flutterSeconds: 5 }),
  named("faint waves", "pulsing", 1, { wander: 0.0032, flutter: 0.1, flutterSeconds: 32 }),
  named("waves", "pulsing", 1, { wander: 0.013, flutter: 0.19, flutterSeconds: 23 }),
  named("strong waves", "pulsing", 0.49, { wander: 0.018, flutter: 0.8, flutterSeconds: 18 }),
  named("swift beat", "pulsing", 1, {
    wander: 0.004,
    flutter: 0.4,
    flutterSeconds: 8,
    periodSeconds: 5,
  }),
  named("beat", "pulsing", 1.1, {
    wander: 0.0024,
    flutter: 0.4,
    flutterSeconds: 10,
    periodSeconds: 8,
  }),
  named("slow beat", "pulsing", 1, {
    wander: 0.004,
    flutter: 0.4,
    flutterSeconds: 11,
    periodSeconds: 12,
  }),
  named("long beat", "pulsing", 1, {
    wander: 0.0047,
    flutter: 0.7,
    flutterSeconds: 25,
    periodSeconds: 20,
  }),
  named("fold swing", "pulsing", 1, {
    wander: 0.004,
    flutter: 0.21,
    flutterSeconds: 12,
    periodSeconds: 45,
  }),
  named("swift pulse", "pulsing", 0.5, {
    wander: 0.003,
    flutter: 0.2,
    flutterSeconds: 60,
    periodSeconds: 3,
  }),
  named("quick pulse", "pulsing", 0.5, {
    wander: 0.003,
    flutter: 0.2,
    flutterSeconds: 60,
    periodSeconds: 4,
  }),
  named("even pulse", "pulsing", 0.5, {
    wander: 0.003,
    flutter: 0.2,
    flutterSeconds: 60,
    periodSeconds: 6.5,
  }),
  named("measured pulse", "pulsing", 0.5, {
    wander: 0.003,
    flutter: 0.2,
    flutterSeconds: 60,
    periodSeconds: 10,
  }),
  named("slow pulse", "pulsing", 0.5, {
    wander: 0.003,
    flutter: 0.2,
    flutterSeconds: 60,
    periodSeconds: 15,
  }),
  named("long pulse", "pulsing", 0.5, {
    wander: 0.003,
    flutter: 0.2,
    flutterSeconds: 60,
    periodSeconds: 28,
  }),
];

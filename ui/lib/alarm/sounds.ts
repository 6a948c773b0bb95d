/** What the page rings for: trouble that needs somebody, a surge, a laptop that stops answering. */
export const SOUND_NAMES = ["trouble", "surge", "silent"] as const;
export type SoundName = (typeof SOUND_NAMES)[number];

type Note = { readonly atSeconds: number; readonly seconds: number; readonly hertz: number };

/**
 * Three that nobody mixes up half asleep: two tones that change places, three that rise, and one that falls.
 * All lie between 1 and 3 kHz, where a phone's small speaker is loud. Judgement.
 */
const SOUNDS: Readonly<Record<SoundName, readonly Note[]>> = {
  trouble: [0, 1, 2, 3, 4, 5].map((at) => ({
    ...{ atSeconds: at * 0.3, seconds: 0.25 },
    hertz: at % 2 === 0 ? 2400 : 1600,
  })),
  surge: [1200, 1600, 2100].map((hertz, at) => ({ hertz, atSeconds: at * 0.22, seconds: 0.2 })),
  silent: [2000, 1400, 1000].map((hertz, at) => ({ hertz, atSeconds: at * 0.6, seconds: 0.5 })),
};

/** Of full scale: a square wave at full scale is cut off by some phones' limiters. Judgement. */
const LOUDNESS = 0.8;
/** A tone that begins at full loudness clicks. */
const FADE_SECONDS = 0.01;

/** Makes a sound now, without a file that would have to be fetched. */
export function play(context: BaseAudioContext, name: SoundName): void {
  for (const { atSeconds, seconds, hertz } of SOUNDS[name]) {
    const startSeconds = context.currentTime + atSeconds;
    const endSeconds = startSeconds + seconds;
    const tone = new OscillatorNode(context, { type: "square", frequency: hertz });
    const loudness = new GainNode(context, { gain: 0 });
    loudness.gain.setValueAtTime(0, startSeconds);
    loudness.gain.linearRampToValueAtTime(LOUDNESS, startSeconds + FADE_SECONDS);
    loudness.gain.setValueAtTime(LOUDNESS, endSeconds - FADE_SECONDS);
    loudness.gain.linearRampToValueAtTime(0, endSeconds);
    tone.connect(loudness).connect(context.destination);
    tone.start(startSeconds);
    tone.stop(endSeconds);
  }
}

/** For a phone in a pocket: milliseconds of shaking and rest, in turn. */
export const VIBRATIONS: Readonly<Record<SoundName, readonly number[]>> = {
  trouble: [400, 150, 400, 150, 400],
  surge: [150, 100, 150],
  silent: [800],
};

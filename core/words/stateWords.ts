import { stretch } from "./timeWords.ts";

/** What can be the worst thing to say of a night. */
export type StateKind =
  | "shutterLoose"
  | "nothingWatches"
  | "cameraGone"
  | "pausedByHand"
  | "blind"
  | "late"
  | "willNotLast"
  | "pictureAffected"
  | "waiting"
  | "skyActs"
  | "well";

/** When the page's alarm sounds for a row: at once, after two minutes of it, or never. */
export type AlarmRule = "atOnce" | "afterTwoMinutes" | "never";

/** What each row shows beside its sentence. */
type StateLook = {
  /** Stands beside the colour, for eyes that see none. */
  readonly sign: string;
  /** Title of the page's tab. */
  readonly tabTitle: string;
  readonly alarm: AlarmRule;
};

/** The rows of the state sentence, the worst first: this order is their precedence. */
export const STATE_LOOKS: Readonly<Record<StateKind, StateLook>> = {
  shutterLoose: { sign: "‼", tabTitle: "Shutter open?", alarm: "atOnce" },
  nothingWatches: { sign: "○", tabTitle: "No watch", alarm: "never" },
  cameraGone: { sign: "✕", tabTitle: "Camera gone", alarm: "afterTwoMinutes" },
  pausedByHand: { sign: "‖", tabTitle: "Paused", alarm: "never" },
  blind: { sign: "◌", tabTitle: "No picture", alarm: "afterTwoMinutes" },
  late: { sign: "…", tabTitle: "Late", alarm: "afterTwoMinutes" },
  willNotLast: { sign: "▽", tabTitle: "Will not last", alarm: "afterTwoMinutes" },
  pictureAffected: { sign: "△", tabTitle: "Picture affected", alarm: "afterTwoMinutes" },
  waiting: { sign: "◷", tabTitle: "Waiting", alarm: "never" },
  skyActs: { sign: "✦", tabTitle: "Surge", alarm: "never" },
  well: { sign: "✓", tabTitle: "All is well", alarm: "never" },
};

/** Why a watch has ended. */
type Ending = "time" | "frames" | "dawn" | "battery" | "card" | "hand";

/** Moments come as text, since only the caller knows the clock that the reader looks at. */
export const stateWords = {
  well: "All is well.",
  quiet: "All is well. The sky is quiet: sentinel pace.",
  shutterLoose: (since: string) =>
    `The shutter may be open since ${since}. Trying to close it; if you are at the camera, switch it off.`,
  noWatch: "No watch is running. Connect a camera to begin.",
  notBegun: "No watch is running. Start it when you are ready.",
  ended: {
    time: "The watch has ended at the time you set.",
    frames: "The watch has ended after the frames you asked for.",
    dawn: "The watch has ended with the dawn. Cap the lens before the Sun is up.",
    battery: "The watch has ended in order before the camera battery ran out.",
    card: "The watch has ended because the card is full.",
    hand: "The watch was stopped by hand.",
  } satisfies Record<Ending, string>,
  lastFrames: (ended: string) => `${ended} The last frames are being fetched.`,
  endingFrame: "Ending: the open frame is closed and kept first.",
  endingReadout: "Ending: the last frame is kept first.",
  cameraGone: (gone: { since: string; forMs: number; retrySeconds: number; isWhole: boolean }) =>
    `Camera gone since ${gone.since} (${stretch(gone.forMs)}), trying every ${gone.retrySeconds} s. ` +
    (gone.isWhole ? "The last frame is whole." : "The last frame is fetched from the card then."),
  noFrames: (why: string, since: string, retrySeconds: number) =>
    `${why} Trying every ${retrySeconds} s since ${since}.`,
  connecting: "Connecting to the camera.",
  pausing: "Pausing: the open frame is finished and kept first.",
  paused: (pause: { since: string; missedCount: number | null; until: string | null }) =>
    `Paused by hand since ${pause.since}. ${missed(pause.missedCount)}` +
    (pause.until === null ? "goes on when you say so." : `resumes at ${pause.until}.`),
  blind: (since: string, why: string) =>
    `No picture since ${since}; exposing by forecast. ${asSentence(why)}`,
  unread: "Pictures come more slowly than frames are taken.",
  late: (forMs: number, cadenceMs: number | null) =>
    cadenceMs === null
      ? `No new frame for ${stretch(forMs)}.`
      : `No new frame for ${stretch(forMs)}; one was due every ${stretch(cadenceMs)}.`,
  fills: (full: { what: "card" | "disk"; at: string; end: string; moreBytes: number }) =>
    `${full.what === "card" ? "The card" : "The laptop's disk"} is full at ${full.at}; ${full.end}. ` +
    `${Math.max(1, Math.ceil(full.moreBytes / 1e9))} GB more are needed.`,
  batteryEnds: (at: string, end: string) =>
    `The camera's battery is empty at ${at}; ${end}. Have a warm spare ready.`,
  dawnAt: (at: string) => `dawn is at ${at}`,
  endAt: (at: string) => `the watch is to run until ${at}`,
  tooDark: (since: string) =>
    `The longest exposure is reached since ${since}: frames come out darker than wanted. A longer exposure or a higher ISO cap helps, where you can bear it.`,
  clips: (since: string, share: number) =>
    `Highlights clip since ${since}: ${(share * 100).toFixed(1)} % of the sky is white, more than you allow.`,
  waiting: (at: string, inMs: number) =>
    `Waiting for dark: first frame at ${at}, in ${stretch(inMs)}.`,
  surge: (since: string) => `Surge since ${since}, full pace.`,
  ofCamera: (label: string, sentence: string) => `${label}: ${sentence}`,
};

function missed(count: number | null): string {
  if (count === null) return "It ";
  return `${count} ${count === 1 ? "frame" : "frames"} not taken; `;
}

/** Reasons from elsewhere begin small and end without a full stop now and then. */
function asSentence(text: string): string {
  const begun = text.slice(0, 1).toUpperCase() + text.slice(1);
  return /[.!?]$/.test(begun) ? begun : `${begun}.`;
}

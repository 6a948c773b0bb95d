import { keyWords } from "../../../core/words/keyWords.ts";

/** Everything a key can do. */
export type KeyAction =
  | "partBefore"
  | "partWatch"
  | "partMorning"
  | "startOrResume"
  | "pause"
  | "stop"
  | "previousFrame"
  | "nextFrame"
  | "tenBack"
  | "tenOn"
  | "firstFrame"
  | "newestFrame"
  | "fullScreen"
  | "oneToOne"
  | "figures"
  | "closer"
  | "wider"
  | "wholeNight"
  | "keep"
  | "leaveOut"
  | "settings"
  | "redFrames"
  | "theme"
  | "dimmer"
  | "brighter"
  | "keys"
  | "close";

type KeyBinding = {
  readonly action: KeyAction;
  /** As `KeyboardEvent.key` names it. */
  readonly keys: readonly string[];
  readonly withShift?: boolean;
  /** What it does, as the list of keys says it. */
  readonly says: string;
};

/** The page's keys, in the order of the list. */
export const KEY_BINDINGS: readonly KeyBinding[] = [
  { action: "partBefore", keys: ["1"], says: keyWords.partBefore },
  { action: "partWatch", keys: ["2"], says: keyWords.partWatch },
  { action: "partMorning", keys: ["3"], says: keyWords.partMorning },
  { action: "startOrResume", keys: ["s"], says: keyWords.startOrResume },
  { action: "pause", keys: ["b"], says: keyWords.pause },
  { action: "stop", keys: ["q"], says: keyWords.stop },
  { action: "previousFrame", keys: ["ArrowLeft"], says: keyWords.previousFrame },
  { action: "nextFrame", keys: ["ArrowRight"], says: keyWords.nextFrame },
  { action: "tenBack", keys: ["ArrowLeft"], withShift: true, says: keyWords.tenBack },
  { action: "tenOn", keys: ["ArrowRight"], withShift: true, says: keyWords.tenOn },
  { action: "firstFrame", keys: ["Home"], says: keyWords.firstFrame },
  { action: "newestFrame", keys: ["End"], says: keyWords.newestFrame },
  { action: "fullScreen", keys: ["v"], says: keyWords.fullScreen },
  { action: "oneToOne", keys: ["o"], says: keyWords.oneToOne },
  { action: "figures", keys: ["a"], says: keyWords.figures },
  { action: "closer", keys: ["c"], says: keyWords.closer },
  { action: "wider", keys: ["w"], says: keyWords.wider },
  { action: "wholeNight", keys: ["0"], says: keyWords.wholeNight },
  { action: "keep", keys: ["y"], says: keyWords.keep },
  { action: "leaveOut", keys: ["n"], says: keyWords.leaveOut },
  { action: "settings", keys: ["e"], says: keyWords.settings },
  { action: "redFrames", keys: ["r"], says: keyWords.redFrames },
  { action: "theme", keys: ["t"], says: keyWords.theme },
  { action: "dimmer", keys: ["-"], says: keyWords.dimmer },
  { action: "brighter", keys: ["+", "="], says: keyWords.brighter },
  { action: "keys", keys: ["?"], says: keyWords.keys },
  { action: "close", keys: ["Escape"], says: keyWords.close },
];

/**
 * What a key press asks for; null when it belongs to the focused element or to the browser.
 *
 * @param options.areSingleKeysOn  When off, only Escape works: speech input types letters.
 */
export function actionOf(
  event: KeyboardEvent,
  options: { areSingleKeysOn: boolean },
): KeyAction | null {
  if (event.ctrlKey || event.altKey || event.metaKey || event.defaultPrevented) return null;
  if (takesText(event.target)) return event.key === "Escape" ? "close" : null;
  if (!options.areSingleKeysOn && event.key !== "Escape") return null;
  const found = KEY_BINDINGS.find(
    ({ keys, withShift = false }) =>
      keys.includes(event.key.length === 1 ? event.key.toLowerCase() : event.key) &&
      (event.key.length === 1 || withShift === event.shiftKey),
  );
  return found?.action ?? null;
}

/** Arrow keys and letters mean something else while a field is being filled. */
function takesText(target: EventTarget | null): boolean {
  if (!(target instanceof HTMLElement)) return false;
  if (target.isContentEditable || target.matches("textarea, select")) return true;
  return target.matches("input") && !target.matches("[type=checkbox], [type=radio]");
}

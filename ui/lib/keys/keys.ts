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
  { action: "partBefore", keys: ["1"], says: "Before dark" },
  { action: "partWatch", keys: ["2"], says: "Watch" },
  { action: "partMorning", keys: ["3"], says: "Morning" },
  { action: "startOrResume", keys: ["s"], says: "Start or resume the watch" },
  { action: "pause", keys: ["b"], says: "Pause the watch: a break (asks at the top)" },
  { action: "stop", keys: ["q"], says: "Stop the watch (asks at the top)" },
  { action: "previousFrame", keys: ["ArrowLeft"], says: "Frame before" },
  { action: "nextFrame", keys: ["ArrowRight"], says: "Frame after" },
  { action: "tenBack", keys: ["ArrowLeft"], withShift: true, says: "Ten frames back" },
  { action: "tenOn", keys: ["ArrowRight"], withShift: true, says: "Ten frames on" },
  { action: "firstFrame", keys: ["Home"], says: "First frame" },
  { action: "newestFrame", keys: ["End"], says: "Follow the newest frame" },
  { action: "fullScreen", keys: ["v"], says: "Frame over the whole screen" },
  { action: "oneToOne", keys: ["o"], says: "Frame's pixels one to one; Alt and arrows move it" },
  { action: "figures", keys: ["a"], says: "Figures beside the frame, or away" },
  { action: "closer", keys: ["c"], says: "Shorter stretch of the night on the strip" },
  { action: "wider", keys: ["w"], says: "Longer stretch" },
  { action: "wholeNight", keys: ["0"], says: "The whole night" },
  { action: "keep", keys: ["y"], says: "Keep the frame; again: take that back" },
  { action: "leaveOut", keys: ["n"], says: "Leave the frame out; again: take that back" },
  { action: "settings", keys: ["e"], says: "Steer the exposure" },
  { action: "redFrames", keys: ["r"], says: "Frames in red or in colour" },
  { action: "theme", keys: ["t"], says: "Light: automatic, night, day" },
  { action: "dimmer", keys: ["-"], says: "Dimmer" },
  { action: "brighter", keys: ["+", "="], says: "Brighter" },
  { action: "keys", keys: ["?"], says: "This list" },
  { action: "close", keys: ["Escape"], says: "Close what is open; no to a question" },
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

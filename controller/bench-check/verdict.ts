import type { BenchFigures, SettingFigures } from "./benchFigures.ts";

/** What a bench check ends with, and the one thing to do next. */
export type Verdict = {
  readonly kind: "ready" | "readyBut" | "contactNeeded";
  readonly sentence: string;
  readonly next: string;
};

/** A charge below which a night is not begun without a spare; judgement, no source. */
const BATTERY_PERCENT_MIN = 30;

/** Whether a night can be run with this camera over its cable. */
export function verdictOf(figures: BenchFigures): Verdict {
  const { bulb, timed, offersCapture } = figures;
  if (!offersCapture) {
    return contactNeeded(
      "this device takes no pictures over its cable",
      "connect a release contact and name it with --release, or connect another camera",
    );
  }
  if (bulb.length === 0 && timed.length === 0) {
    return contactNeeded(
      `the camera exposed in no way (bulb: ${figures.bulbRemark ?? "nothing came of it"}; own timer: ${figures.timedRemark ?? "nothing came of it"})`,
      "turn its dial to M, take any self-timer off, and run the bench check again; if that does not help, use a release contact",
    );
  }
  const [first, ...others] = shortcomingsOf(figures);
  if (!first) {
    return { kind: "ready", sentence: "Ready for the night.", next: "Begin the night." };
  }
  const what = [first, ...others].map(({ what }) => what).join("; ");
  return { kind: "readyBut", sentence: `Ready, but ${what}.`, next: capital(`${first.advice}.`) };
}

function contactNeeded(why: string, next: string): Verdict {
  return {
    kind: "contactNeeded",
    sentence: `Not without a release contact: ${why}.`,
    next: capital(`${next}.`),
  };
}

type Shortcoming = { readonly what: string; readonly advice: string };

/** What a night has to do without, the dearest first. */
function shortcomingsOf(figures: BenchFigures): readonly Shortcoming[] {
  const { bulb, timed, compensated, preview, program, focus, battery, troubles } = figures;
  const found: Shortcoming[] = [];
  const add = (isFound: boolean, what: string, advice: string): void => {
    if (isFound) found.push({ what, advice });
  };
  const hasFile =
    timed.some((one) => one.hasFile) ||
    [...bulb, ...compensated].some((one) => one.exifSeconds !== null || one.namedMs !== null) ||
    preview !== null;
  add(
    !hasFile,
    "none of its pictures came over the cable, so exposures are not steered by them",
    "set it to store JPEG, or raw with JPEG, on a card with room, and connect it as a camera for remote control",
  );
  add(
    hasFile && preview !== null && preview.thumbBytes === null && preview.fileMs === null,
    "no picture of its files can be fetched",
    "set it to store raw with JPEG",
  );
  add(program === "other", "its dial is not on manual", "turn its dial to M or B");
  add(focus === "automatic", "its focus is automatic", "set focus to manual, on a far light");
  add(
    bulb.length === 0,
    `bulb does not serve (${figures.bulbRemark ?? "nothing came of it"}), so exposures go by its own steps up to ${longest(figures)}`,
    "turn its dial to B if it has one, or go on without bulb",
  );
  add(
    timed.length === 0,
    `its own timer does not serve (${figures.timedRemark ?? "nothing came of it"}), so short frames go by bulb`,
    "turn its dial to M if you want both, or go on with bulb",
  );
  const iso = figures.settings.find(({ name }) => name === "ISO");
  add(
    !isSettable(iso),
    "its ISO cannot be set over the cable",
    "set an ISO by hand that suits the night, and switch automatic ISO off",
  );
  add(
    figures.settings.some(({ isRestored }) => !isRestored),
    "a setting could not be put back",
    "look at ISO, f-number and exposure time on the camera",
  );
  add(
    battery.afterPercent !== null && battery.afterPercent < BATTERY_PERCENT_MIN,
    `its battery is at ${battery.afterPercent} %`,
    "put in a full battery, or feed it from outside",
  );
  for (const { step, sentence } of troubles) {
    const words = sentence.replace(/\.$/, "");
    const what = `its ${step} could not be looked at (${words})`;
    found.push({ what, advice: "run the bench check again" });
  }
  return found;
}

function isSettable(setting: SettingFigures | undefined): boolean {
  return (setting?.tried ?? []).some(({ asked, readBack }) => asked === readBack);
}

function longest({ settings }: BenchFigures): string {
  const seconds = settings.find(({ name }) => name === "exposure time")?.values.at(-1);
  return seconds === undefined ? "the one that it stands at" : `${Math.round(seconds)} s`;
}

function capital(sentence: string): string {
  return sentence.charAt(0).toUpperCase() + sentence.slice(1);
}

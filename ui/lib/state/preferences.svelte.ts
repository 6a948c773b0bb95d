export type ThemeChoice = "auto" | "night" | "day";

const STORE_KEY = "nattvakt.preferences";

/** One press of a key on the way from nothing to full. */
const BRIGHTNESS_STEP = 0.08;
/** A page that was dimmed to nothing wakes with so much when it is touched. */
const BRIGHTNESS_WOKEN = 0.2;
/** Equal ways of the slider look like equal steps to an eye in the dark. Judgement. */
const BRIGHTNESS_EXPONENT = 1.6;

type Stored = {
  themeChoice: ThemeChoice;
  brightnessShare: number;
  areFramesRed: boolean;
  areSingleKeysOn: boolean;
  areFiguresAway: boolean;
  isStripTall: boolean;
};

/** How this photographer wants the page; remembered in this browser. */
export class Preferences {
  themeChoice = $state<ThemeChoice>("auto");
  /** Where the slider stands, from 0, nothing, to 1. */
  brightnessShare = $state(1);
  areFramesRed = $state(true);
  /** Single keys can be switched off: speech input would trigger them (WCAG 2.1.4). */
  areSingleKeysOn = $state(true);
  /** The column beside the frame is put away. */
  areFiguresAway = $state(false);
  isStripTall = $state(false);

  readonly brightness = $derived(this.brightnessShare ** BRIGHTNESS_EXPONENT);

  constructor(storage: Storage | null) {
    const stored = read(storage);
    this.themeChoice = stored.themeChoice ?? "auto";
    this.brightnessShare = shareOf(stored.brightnessShare ?? 1);
    this.areFramesRed = stored.areFramesRed ?? true;
    this.areSingleKeysOn = stored.areSingleKeysOn ?? true;
    this.areFiguresAway = stored.areFiguresAway ?? false;
    this.isStripTall = stored.isStripTall ?? false;
  }

  dim(): void {
    this.brightnessShare = shareOf(this.brightnessShare - BRIGHTNESS_STEP);
  }

  brighten(): void {
    this.brightnessShare = shareOf(this.brightnessShare + BRIGHTNESS_STEP);
  }

  /** Somebody touched a page that shows nothing. @returns whether it did. */
  wake(): boolean {
    if (this.brightnessShare > 0) return false;
    this.brightnessShare = BRIGHTNESS_WOKEN;
    return true;
  }

  save(storage: Storage | null): void {
    const stored: Stored = {
      themeChoice: this.themeChoice,
      brightnessShare: this.brightnessShare,
      areFramesRed: this.areFramesRed,
      areSingleKeysOn: this.areSingleKeysOn,
      areFiguresAway: this.areFiguresAway,
      isStripTall: this.isStripTall,
    };
    try {
      storage?.setItem(STORE_KEY, JSON.stringify(stored));
    } catch {
      // A browser that remembers nothing still shows the night.
    }
  }
}

function read(storage: Storage | null): Partial<Stored> {
  try {
    return JSON.parse(storage?.getItem(STORE_KEY) ?? "{}") as Partial<Stored>;
  } catch {
    return {};
  }
}

function shareOf(share: number): number {
  return Number.isFinite(share) ? Math.min(1, Math.max(0, share)) : 1;
}

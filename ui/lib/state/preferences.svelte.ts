export type ThemeChoice = "auto" | "night" | "day";

const STORE_KEY = "nattvakt.preferences";

/** The page's brightness, darkest first; the first is nearly black. */
export const BRIGHTNESS_RUNGS = [0.08, 0.13, 0.2, 0.3, 0.45, 0.65, 0.85, 1] as const;

type Stored = {
  themeChoice: ThemeChoice;
  brightnessRung: number;
  areFramesRed: boolean;
  areSingleKeysOn: boolean;
  areFiguresAway: boolean;
  isStripTall: boolean;
};

/** How this photographer wants the page; remembered in this browser. */
export class Preferences {
  themeChoice = $state<ThemeChoice>("auto");
  brightnessRung = $state(BRIGHTNESS_RUNGS.length - 1);
  areFramesRed = $state(true);
  /** Single keys can be switched off: speech input would trigger them (WCAG 2.1.4). */
  areSingleKeysOn = $state(true);
  /** The column beside the frame is put away. */
  areFiguresAway = $state(false);
  isStripTall = $state(false);

  readonly brightness = $derived(BRIGHTNESS_RUNGS[this.brightnessRung] ?? 1);

  constructor(storage: Storage | null) {
    const stored = read(storage);
    this.themeChoice = stored.themeChoice ?? "auto";
    this.brightnessRung = clampRung(stored.brightnessRung ?? BRIGHTNESS_RUNGS.length - 1);
    this.areFramesRed = stored.areFramesRed ?? true;
    this.areSingleKeysOn = stored.areSingleKeysOn ?? true;
    this.areFiguresAway = stored.areFiguresAway ?? false;
    this.isStripTall = stored.isStripTall ?? false;
  }

  dim(): void {
    this.brightnessRung = clampRung(this.brightnessRung - 1);
  }

  brighten(): void {
    this.brightnessRung = clampRung(this.brightnessRung + 1);
  }

  save(storage: Storage | null): void {
    const stored: Stored = {
      themeChoice: this.themeChoice,
      brightnessRung: this.brightnessRung,
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

function clampRung(rung: number): number {
  return Math.min(BRIGHTNESS_RUNGS.length - 1, Math.max(0, Math.round(rung)));
}

import type { Page } from "playwright-core";

import type { FakeNight } from "../support/fakeNight.ts";

/** The screens that the page is looked at on. */
export const SIZES = [
  { width: 360, height: 740 },
  { width: 800, height: 600 },
  { width: 1366, height: 768 },
  { width: 1920, height: 1080 },
] as const;

/** A view or a state of it. */
export type View = {
  readonly name: string;
  /** Where it is, as the address says it. */
  readonly hash: string;
  readonly frameCount?: number;
  /** The whole length of the page rather than one screen of it. */
  readonly isWhole?: boolean;
  readonly prepare?: (night: FakeNight) => void;
  readonly act?: (page: Page) => Promise<void>;
};

const press =
  (...keys: readonly string[]) =>
  async (page: Page): Promise<void> => {
    for (const key of keys) await page.keyboard.press(key);
  };

export const VIEWS: readonly View[] = [
  { name: "watch", hash: "#watch" },
  { name: "watch-whole", hash: "#watch", isWhole: true },
  { name: "watch-steering", hash: "#watch", act: press("e") },
  { name: "watch-keys", hash: "#watch", act: press("?") },
  {
    name: "watch-warning",
    hash: "#watch",
    prepare: (night) =>
      night.changeWatch({
        allIsWell: false,
        sentence: "The battery is at 6 %: change it now; the watch goes on while you do.",
      }),
  },
  {
    name: "watch-paused",
    hash: "#watch",
    prepare: (night) =>
      night.changeWatch({
        phase: "paused",
        isExposing: false,
        allIsWell: false,
        sentence: "Paused by hand: no frames are taken until you resume.",
      }),
  },
  { name: "watch-no-frame", hash: "#watch", frameCount: 0 },
  {
    name: "no-night",
    hash: "#watch",
    frameCount: 0,
    prepare: (night) => night.changeView({ night: null }),
  },
  { name: "before", hash: "#before" },
  { name: "before-whole", hash: "#before", isWhole: true },
  { name: "morning", hash: "#morning" },
  { name: "morning-whole", hash: "#morning", isWhole: true },
];

import { SvelteMap } from "svelte/reactivity";

import type { Keeper } from "../../../core/frames/keepers.ts";

export type Pick = "keep" | "leave";

type FrameName = { readonly cameraId: string; readonly frameIndex: number };

/** What the hand said of frames: keep it, or leave it out. */
export class HandPicks {
  /** Said since the page was opened; null: taken back. */
  readonly #said = new SvelteMap<string, Pick | null>();
  readonly #keepers: () => readonly Keeper[];

  constructor(keepers: () => readonly Keeper[]) {
    this.#keepers = keepers;
  }

  /** The hand's word on a frame, as far as it is known. */
  of(frame: FrameName): Pick | null {
    const fresh = this.#said.get(keyOf(frame));
    if (fresh !== undefined) return fresh;
    const isKept = this.#keepers().some((one) => one.isByHand && keyOf(one) === keyOf(frame));
    return isKept ? "keep" : null;
  }

  /** Says a word of a frame; said a second time, it is taken back. @returns what holds now. */
  say(frame: FrameName, wanted: Pick): Pick | null {
    const next = this.of(frame) === wanted ? null : wanted;
    this.#said.set(keyOf(frame), next);
    return next;
  }
}

function keyOf({ cameraId, frameIndex }: FrameName): string {
  return `${cameraId} ${frameIndex}`;
}

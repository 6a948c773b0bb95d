import type { FrameCorrection } from "../../core/frames/deflicker.ts";
import type { SetToDeliver } from "./nightToDeliver.ts";

/** A set that is ready to be rendered. */
export type ReadySet = SetToDeliver & {
  readonly corrections: readonly FrameCorrection[];
  /** Size of all its frames. */
  readonly picture: { readonly widthPx: number; readonly heightPx: number };
  /** Folder and file names are made of this. */
  readonly slug: string;
  /** One sentence for each frame whose time could not be believed. */
  readonly timeRemarks: readonly string[];
};

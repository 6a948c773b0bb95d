import type { Exposure } from "../exposure/exposure.ts";
import type { FramingStars } from "../pointing/framingStars.ts";
import type { FramingReading } from "../photometry/framing/framing.ts";
import type { FocusPoint, FocusVerdict } from "../photometry/focusTrace.ts";

/** How the focus aid stands. */
export type FocusView =
  | { readonly kind: "off" }
  | {
      readonly kind: "running";
      readonly cameraId: string;
      readonly exposureSeconds: number;
      readonly iso: number;
      /** Newest last; the oldest are dropped after a few hundred. */
      readonly points: readonly FocusPoint[];
      readonly verdict: FocusVerdict;
      /** One sentence on what to do with the ring. */
      readonly sentence: string;
      /** Grows with every frame; names the star picture to ask for. */
      readonly pictureIndex: number | null;
    }
  | { readonly kind: "failed"; readonly cameraId: string; readonly sentence: string };

/** What the focus aid is started with; what is left out is chosen for a starry sky. */
export type FocusOrder = {
  readonly cameraId: string;
  readonly exposureSeconds?: number;
  readonly iso?: number;
};

/** The test frame that shows the composition. */
export type FramingView =
  | { readonly kind: "none" }
  | { readonly kind: "running"; readonly cameraId: string }
  | {
      readonly kind: "done";
      readonly cameraId: string;
      readonly happened: Exposure;
      readonly reading: FramingReading;
      /** What the frame's stars tell; `null` while they are being asked. */
      readonly stars: FramingStars | null;
      /** Grows with every test frame; names the picture to ask for. */
      readonly pictureIndex: number;
    }
  | { readonly kind: "failed"; readonly cameraId: string; readonly sentence: string };

/** What a test frame is taken with; what is left out is high ISO and a few seconds. */
export type FramingOrder = FocusOrder;

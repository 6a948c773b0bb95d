/** Apparent motion of the curtains; "unknown" is an answer, a guess is not. */
export type CurtainMotion =
  | { readonly kind: "unknown"; readonly why: string }
  | {
      readonly kind: "measured";
      /** Typical speed of the moving structure. */
      readonly degPerSecond: number;
      /** The same in pixels of the full-size frame. */
      readonly pxPerSecond: number;
      /** The full-size frame's width is not known, and a usual one stands in; left out: it is. */
      readonly isScaleGuessed?: true;
    };

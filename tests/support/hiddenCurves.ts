import { sRgbCurve, type ToneCurve } from "./paintedSky.ts";

/** Tone curves of invented cameras; the meter never learns which. */
export const HIDDEN_CURVES: Readonly<Record<string, ToneCurve>> = {
  /** A slight S over sRGB. */
  mild: (light) => {
    const value = sRgbCurve(light);
    return value - 0.035 * Math.sin(2 * Math.PI * value);
  },
  /** A strong S: deep toe, long shoulder. */
  contrasty: (light) => {
    const value = sRgbCurve(Math.min(light, 5.52));
    return value ** 1.7 / (value ** 1.7 + 0.9 * (1 - value) ** 1.7 + 1e-9);
  },
  /** Lifted blacks and held-back whites. */
  flat: (light) => 0.1 + 0.78 * sRgbCurve(light) ** 0.85,
  /** A pedestal of light that was never taken off: half a stop of haze on the shadows. */
  blackOffset: (light) => sRgbCurve(0.06 + light * 0.94),
};

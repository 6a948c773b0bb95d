import type { ExposureSettings } from "../exposure/settings.ts";
import { DEFAULT_KIT_INPUT, type KitInput } from "../plan/kit.ts";

/**
 * The kit that a watch was set to, for a night that was started without a plan: lens, pixel pitch
 * and ISO cap are the watch's own, the rest is the usual kit's.
 */
export function kitOfSettings(settings: ExposureSettings): KitInput {
  return {
    ...DEFAULT_KIT_INPUT,
    name: "the watch's own settings",
    pixelPitchUm: settings.pixelPitchUm,
    focalLengthMm: settings.focalLengthMm,
    fNumberWidest: settings.fNumber,
    isoComfortMax: settings.isoMax,
    busySeconds: settings.busySeconds,
  };
}

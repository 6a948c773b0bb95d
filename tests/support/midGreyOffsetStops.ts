import { toneCode, type ToneCurve } from "../../core/simulation/toneCurve.ts";

/** Light of mid-grey over saturation's: 10 / S over 78 / S lux-seconds. Source: ISO 12232 (from memory). */
const MID_GREY_LIGHT = 10 / 78;

/**
 * What a curve's own mid-grey lies off the standard's, stops: the light that it renders to code 118
 * over 10 / S lux-seconds. Nothing in a picture tells it; a meter that takes 118 for mid-grey is off
 * by this, whatever it does.
 */
export function midGreyOffsetStops(curve: ToneCurve): number {
  let [low, high] = [0, 1];
  for (let round = 0; round < 40; round += 1) {
    const middle = (low + high) / 2;
    if (toneCode(curve, middle) < 118) low = middle;
    else high = middle;
  }
  return Math.log2(low / MID_GREY_LIGHT);
}

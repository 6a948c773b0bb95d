import type { Exposure } from "../exposure/exposure.ts";
import { FOCAL_PLANE_FACTOR, SATURATION_LUX_SECONDS_ISO } from "../exposure/exposure.ts";

/** A colour sensor by its numbers. */
export type SimulatedSensor = {
  readonly widthMm: number;
  readonly heightMm: number;
  /** Of the sensor's own pixels; a smaller picture averages over them. */
  readonly pixelPitchUm: number;
  /** Electrons a pixel holds. */
  readonly fullWellElectrons: number;
  readonly readNoiseElectrons: number;
  readonly darkElectronsPerSecond: number;
  readonly baseIso: number;
  /** Electrons per photon of 557.7 nm under a green filter, the filter included. */
  readonly greenQuantumEfficiency: number;
  /** Pixels that glow by themselves. */
  readonly hotPixelCount: number;
  /** Which pixels they are. */
  readonly hotPixelSeed: number;
};

/** A 36 × 24 mm sensor of 24 million pixels. Common practice, no source. */
export const FULL_FRAME_SENSOR: SimulatedSensor = {
  widthMm: 36,
  heightMm: 24,
  pixelPitchUm: 6,
  fullWellElectrons: 60_000,
  readNoiseElectrons: 3,
  darkElectronsPerSecond: 0.05,
  baseIso: 100,
  greenQuantumEfficiency: 0.5,
  hotPixelCount: 60,
  hotPixelSeed: 1,
};

/**
 * Photons of 557.7 nm in a lux-second on a square metre: λ / (h c · 683 lm/W · V), V = 0.9986.
 * Source: CIE photopic function and the definition of the candela.
 */
const PHOTONS_PER_LUX_SECOND_M2 = 1 / (683 * 0.9986 * 3.5619e-19);

/**
 * Electrons in one of the sensor's own green pixels, on axis, from an even luminance.
 *
 * Source: focal-plane irradiance π L T / (4 N²); for a line of R rayleigh it is the same as
 * R · 1e10 · T · Q · p² / (16 N²) · t (p in metres).
 */
export function greenElectrons(options: {
  readonly luminanceCdM2: number;
  readonly exposure: Exposure;
  readonly transmission: number;
  readonly sensor: SimulatedSensor;
}): number {
  const { luminanceCdM2, exposure, transmission, sensor } = options;
  const luxSeconds =
    ((Math.PI / 4) * transmission * luminanceCdM2 * exposure.exposureSeconds) /
    exposure.fNumber ** 2;
  const areaM2 = (sensor.pixelPitchUm * 1e-6) ** 2;
  return luxSeconds * PHOTONS_PER_LUX_SECOND_M2 * sensor.greenQuantumEfficiency * areaM2;
}

/**
 * Linear light, 1 being saturation at the frame's ISO (78 / S lux-seconds), of a luminance of 1 cd/m².
 * Source: ISO 12232 (saturation) and ISO 2720 (q = 0.65), from memory.
 */
export function linearPerCdM2(exposure: Exposure): number {
  const luxSeconds = (FOCAL_PLANE_FACTOR * exposure.exposureSeconds) / exposure.fNumber ** 2;
  return (luxSeconds * exposure.iso) / SATURATION_LUX_SECONDS_ISO;
}

/**
 * Gains that make an even grey grey: the green pixels see daylight best. Red and blue therefore
 * fill later than green, and green clips first. Common practice, no source.
 */
const WHITE_BALANCE = { red: 2, green: 1, blue: 1.5 } as const;

/** Share of the sensor's pixels under each filter. */
const FILTER_SHARE = { red: 0.25, green: 0.5, blue: 0.25 } as const;

/** How one channel of the rendered picture gets its grain; linear light throughout. */
export type ChannelGrain = {
  /** Linear light at which the channel's wells are full. */
  readonly ceiling: number;
  /** Variance per linear light (shot noise). */
  readonly perLight: number;
  /** Variance in the dark (read and dark noise). */
  readonly floor: number;
  /** Linear light of one electron in one of the sensor's pixels. */
  readonly perElectron: number;
  /** Sensor pixels of this colour averaged into one of the picture's. */
  readonly pixelCount: number;
};

/**
 * The grain of each channel at an exposure.
 *
 * @param pitchUm  Size of a pixel of the rendered picture; noise falls with the square root of the
 *   sensor's pixels that it averages.
 * Source: variance = electrons + dark electrons + read noise² (Janesick 2001; EMVA 1288; from memory).
 */
export function channelGrain(options: {
  readonly channel: "red" | "green" | "blue";
  readonly exposure: Exposure;
  readonly transmission: number;
  readonly sensor: SimulatedSensor;
  readonly pitchUm: number;
}): ChannelGrain {
  const { channel, exposure, transmission, sensor, pitchUm } = options;
  const gain = WHITE_BALANCE[channel];
  const atSaturation = greenElectrons({
    luminanceCdM2: 1 / linearPerCdM2(exposure),
    exposure,
    transmission,
    sensor,
  });
  const perElectron = gain / atSaturation;
  const wellElectrons = (sensor.fullWellElectrons * sensor.baseIso) / exposure.iso;
  const averaged = (pitchUm / sensor.pixelPitchUm) ** 2 * FILTER_SHARE[channel];
  const pixelCount = Math.max(1, averaged);
  const darkVariance =
    sensor.darkElectronsPerSecond * exposure.exposureSeconds + sensor.readNoiseElectrons ** 2;
  return {
    // A well deeper than the ISO needs does not lift the ceiling: the converter is full there.
    ceiling: Math.min(gain, Math.max(0.5, wellElectrons * perElectron)),
    perLight: perElectron / pixelCount,
    floor: (darkVariance * perElectron ** 2) / pixelCount,
    perElectron,
    pixelCount,
  };
}

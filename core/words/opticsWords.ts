/** What a person reads of lens and sensor where they are not as one would think. */
export const opticsWords = {
  sensorUnknown:
    "The sensor's width is not known: speeds of curtains are given as for a full frame, and are up to twice too high on a smaller one. Name it in the kit or with --sensor-width-mm.",
  otherSensor: (givenMm: number, pictureMm: number) =>
    `The kit's sensor is ${givenMm} mm wide, the picture says ${pictureMm.toFixed(1)} mm; the kit counts.`,
  pixelsUnknown: (widthPx: number) =>
    `How many pixels wide the camera's own files are is not known: smear is counted as in a frame of ${widthPx}.`,
  equivalent: (givenMm: number, realMm: number) =>
    `${givenMm} mm is what this lens is worth on a full frame; its own focal length is ${realMm} mm, and counts.`,
  otherLens: (givenMm: number, realMm: number) =>
    `The picture says ${realMm} mm, the settings ${givenMm} mm; the picture counts.`,
} as const;

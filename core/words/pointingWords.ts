/** What a person reads of where the camera points. Angles in degrees. */
export const pointingWords = {
  noPlace: "The stars can say where you point once the place is known.",
  tooFewStars: "Too few stars show to say where you point.",
  noMatch:
    "The stars in the frame match no part of the sky: is the clock right, is the place right, is the focus sharp?",
  pointing: (bearing: number, elevation: number) =>
    `You point at ${Math.round(bearing) % 360}° and ${Math.round(elevation)}° high`,
  ovalBeside: (turn: number) =>
    Math.abs(turn) < 1
      ? "the oval stands straight ahead"
      : `the oval stands ${Math.round(Math.abs(turn))}° to the ${turn > 0 ? "right" : "left"}`,
  ovalOverhead: "the oval passes overhead",
  ovalBelow: "the oval stays below the horizon",
  tilt: (tilt: number) =>
    `By the stars the horizon falls to the ${tilt > 0 ? "right" : "left"} by ${Math.abs(tilt).toFixed(1)}°.`,
  lens: (by: {
    readonly focalLengthMm: number;
    readonly degPerPx: number;
    readonly acrossMm: number;
    readonly isSensorKnown: boolean;
  }) =>
    by.isSensorKnown
      ? `The lens is ${by.focalLengthMm.toFixed(1)} mm on a sensor ${Number(by.acrossMm.toFixed(1))} mm across; a pixel of the preview is ${(by.degPerPx * 60).toFixed(1)}′.`
      : `The lens is worth ${by.focalLengthMm.toFixed(1)} mm on a full frame (the sensor's width is not known); a pixel of the preview is ${(by.degPerPx * 60).toFixed(1)}′.`,
  trail: (seconds: number) =>
    `Stars stay points for ${seconds < 10 ? seconds.toFixed(1) : Math.round(seconds)} s in this frame.`,
  proof: (starCount: number, sigmaDeg: number) =>
    `${starCount} stars, ±${Math.max(0.001, sigmaDeg).toFixed(3)}°. No aid to navigation.`,
  marks: {
    magneticZenith: "The magnetic zenith: rays of a corona meet here",
    moonrise: (clock: string) => `The Moon comes up here at ${clock}`,
    sunrise: (clock: string) => `The Sun comes up here at ${clock}`,
    oval: "The oval's lower border on a quiet night",
  },
} as const;

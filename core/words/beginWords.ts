/** Words of connecting a camera and beginning a night from the page. */
export const beginWords = {
  title: "Camera",
  explain: "Connect your camera by USB and switch it on, or give its address in the network.",
  onUsb: "Cameras on USB",
  none: "No camera was found on USB. Switch it on, check the cable, and set its USB mode to the one for a computer or for pictures (PTP).",
  lookAgain: "Look again",
  looking: "Looking for cameras …",
  network: "Address in the network",
  networkHint: "As the camera shows it, for example 192.0.2.7",
  tryIt: "Try it",
  trying: "Asking the camera …",
  answers: (label: string) => `${label} answers.`,
  atDusk: "Begin at dusk",
  now: "Begin now",
  needsCamera: "Choose a camera first.",
  needsPlace: "Give the place first: it is asked for above.",
  beginning: "The watch is starting with this camera; the page comes back in a moment.",
  endsDemo: "The demo night ends when you begin; its frames are kept.",
  /** A camera by its name, which may be unknown, and where it is. */
  cameraAt: (name: string, place: string) =>
    name === "" ? `Camera at ${place}` : `${name} (${place})`,
  watchRuns: "A watch is running; stop it first, then begin with another camera.",
  goesOn: (camera: string) => `The night was begun from the page with ${camera}; it goes on.`,
  unreadable: (file: string, why: string) =>
    `${file}, which says what the last night was begun with, cannot be read (${why}); choose the camera again on the page.`,
} as const;

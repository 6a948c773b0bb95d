/** What the running program prints on the terminal, and says where a camera cannot be had. */
export const daemonWords = {
  night: {
    demo: (place: string, rate: number) =>
      `Demo night at ${place}, ${rate} times faster than life.`,
    real: (name: string) => `The night ${name}.`,
    folder: (nightDir: string) => `Frames go to ${nightDir}`,
    cutOffAndOver: (name: string) => `${name} was cut off and is over now; a new night begins.`,
    goesOn: (name: string, frameCount: number) =>
      `${name} was cut off; the watch goes on with frame ${frameCount}.`,
    staysOver: (name: string) => `${name} is over and stays so; the page starts another watch.`,
    watchLost: (name: string) =>
      `Whether ${name} was still being watched is lost with it; a new night begins.`,
  },
  page: {
    address: (address: string) => `The page: ${address}`,
    beingBuilt: "The page is being built beside the watch; this takes a few seconds.",
  },
  end: "Ending in order; the open frame is kept. Once more to end at once.",
  keptAwakeAgain: "This computer is kept from sleeping again.",
  frames: {
    /** What stands in the lines of frames; once, before the first of them. */
    heading: "Each line a frame: opened (UTC), number, exposure, stops from target, why.",
    notMetered: "not metered",
    noPicture: (why: string) => `has no picture: ${why}`,
  },
  gnss: {
    waiting: "Waiting for the GNSS receiver's place.",
    noPlace: "The GNSS receiver has no place yet; the night begins without one.",
    place: (latitude: string, longitude: string) => `GNSS: ${latitude}, ${longitude}.`,
    placeFound: "The GNSS receiver has reported the night's place.",
  },
  release: {
    by: (contact: string) => `${contact} releases the camera.`,
    /** What nobody but the photographer can set. */
    byHand: (iso: number) =>
      `Set ISO ${iso} on the camera by hand, the aperture too, and its dial on bulb: nothing can be set from here, the exposure is governed by time alone.`,
    notThere: "The release contact is not there.",
  },
  virtualCamera: {
    died: "The virtual camera has died.",
    startsAgain: (why: string, seconds: number) => `${why} It is started again in ${seconds} s.`,
    notUp: "The virtual camera is not up.",
  },
  camera: {
    unknown: (name: string) => `There is no camera called ${name}.`,
    benchNeedsCable: "A bench check needs a camera on a cable or network.",
    hasFocusAid: "Stop the focus aid first; it has the camera.",
    hasTestFrame: "A test frame is being taken; wait for it.",
    hasBenchCheck: "The bench check has the camera; wait for it or end it.",
    hasWatch: "The watch has this camera; stop the watch first, then start it again afterwards.",
  },
} as const;

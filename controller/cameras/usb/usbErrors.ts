import { NightError } from "../../../core/errors.ts";
import { errnoOf, LIBUSB_ERROR } from "./libusbDevice.ts";

/** What keeps a camera from being opened or claimed, in one sentence that says what to do about it. */
export function claimError(
  thrown: unknown,
  place: string,
  platform: NodeJS.Platform = process.platform,
): NightError {
  const errno = errnoOf(thrown);
  const details = { place, errno, why: (thrown as Error | null)?.message };
  const options = { cause: thrown };
  switch (errno) {
    case LIBUSB_ERROR.access:
      return new NightError("camera.refused", accessSentence(place, platform), details, options);
    case LIBUSB_ERROR.busy:
      return new NightError("camera.busy", busySentence(place, platform), details, options);
    case LIBUSB_ERROR.notSupported:
    case LIBUSB_ERROR.notFound:
      return new NightError("camera.refused", driverSentence(place, platform), details, options);
    case LIBUSB_ERROR.noDevice:
      return new NightError(
        "camera.unreachable",
        `The camera at ${place} was unplugged or fell asleep; wake it and check the cable.`,
        details,
        options,
      );
    default:
      return new NightError(
        "camera.unreachable",
        `The camera at ${place} cannot be opened (${details.why ?? "no reason given"}); unplug it, plug it in again, and try another cable or socket.`,
        details,
        options,
      );
  }
}

/** The package that talks to USB could not be loaded. */
export function noUsbError(thrown: unknown): NightError {
  return new NightError(
    "camera.unsupported",
    "This computer's USB cannot be used: the library did not load; on Debian install libusb-1.0-0 and libudev1.",
    { why: (thrown as Error | null)?.message },
    { cause: thrown },
  );
}

function accessSentence(place: string, platform: NodeJS.Platform): string {
  if (platform === "linux") {
    return `The system does not let you use the camera at ${place}; install the rule in hardware-profiles/70-nattvakt.rules as its first lines say, then plug the camera in again.`;
  }
  if (platform === "darwin") {
    return `The system's own picture import holds the camera at ${place}; close programs that import pictures and see "Cameras on USB" in the README.`;
  }
  return driverSentence(place, platform);
}

function busySentence(place: string, platform: NodeJS.Platform): string {
  if (platform === "linux") {
    return `Another program holds the camera at ${place}; eject it in the file manager, which opens cameras by itself, and close programs that import pictures.`;
  }
  if (platform === "darwin") return accessSentence(place, platform);
  return `Another program holds the camera at ${place}; close programs that import pictures.`;
}

function driverSentence(place: string, platform: NodeJS.Platform): string {
  if (platform === "win32") {
    return `Windows has its own driver on the camera at ${place}; give this camera the WinUSB driver as "Cameras on USB" in the README describes.`;
  }
  return `The camera at ${place} cannot be taken over from the system's driver; unplug it and plug it in again.`;
}

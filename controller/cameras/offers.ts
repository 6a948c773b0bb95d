import type { CameraOffer, FoundCameras } from "../../core/api/beginMessages.ts";
import { asNightError } from "../../core/errors.ts";
import { beginWords } from "../../core/words/beginWords.ts";
import { createTransport, type CameraTarget } from "./createTransport.ts";
import { introduce } from "./introduce.ts";
import { claimError } from "./usb/usbErrors.ts";
import { findUsbCameras, readProduct, readSerial, type UsbCamera } from "./usb/findCameras.ts";
import { listLibusbDevices, type LibusbDevice } from "./usb/libusbDevice.ts";

/** The still cameras on this computer's USB. A computer without USB has none, and a sentence. */
export async function camerasOnUsb(
  list: () => Promise<readonly LibusbDevice[]> = listLibusbDevices,
): Promise<FoundCameras> {
  try {
    const cameras = findUsbCameras(await list());
    return { cameras: await Promise.all(cameras.map(offerOf)), usbRefusal: null };
  } catch (thrown) {
    return { cameras: [], usbRefusal: asNightError(thrown).message };
  }
}

/** A camera that was connected once and answered. @throws NightError as `introduce`. */
export async function askCamera(address: string, target: CameraTarget): Promise<CameraOffer> {
  const transport = createTransport(target);
  const { info } = await introduce(transport);
  const name = `${info.manufacturer} ${info.model}`.trim();
  return { address, label: beginWords.cameraAt(name, transport.place), whyNot: null };
}

async function offerOf(camera: UsbCamera): Promise<CameraOffer> {
  const place = camera.place.replace("USB ", "");
  try {
    const [product, serial] = [await readProduct(camera), await readSerial(camera)];
    // A serial number goes with the camera to another socket; a place does not.
    const isPlain = /^[^\s,]+$/.test(serial);
    return {
      address: `usb:${isPlain ? serial : place}`,
      label: beginWords.cameraAt(product, camera.place),
      whyNot: null,
    };
  } catch (thrown) {
    const whyNot = claimError(thrown, camera.place).message;
    return { address: `usb:${place}`, label: beginWords.cameraAt("", camera.place), whyNot };
  }
}

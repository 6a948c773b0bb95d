import { NightError } from "../../../core/errors.ts";
import type { LibusbDevice } from "./libusbDevice.ts";
import { claimError } from "./usbErrors.ts";

/** Still image, the standard's own protocol. Source: USB-IF class codes 06h, 01h, 01h. */
const STILL_IMAGE = { interfaceClass: 6, subClass: 1, protocol: 1 } as const;
const ENDPOINT_IN = 0x80;
const TRANSFER_TYPE_MASK = 3;
const TYPES = { bulk: 2, interrupt: 3 } as const;

/** A device with a still-image interface, and where its three endpoints are. */
export type UsbCamera = {
  readonly device: LibusbDevice;
  /** As in "USB 1-2.3": bus, then the sockets from the root hub on. */
  readonly place: string;
  readonly interfaceNumber: number;
  readonly bulkIn: number;
  readonly bulkOut: number;
  readonly interruptIn: number;
};

/**
 * Devices that say of an interface that it is a still camera. Vendor-specific classes are not
 * guessed at: a serial adapter has the same.
 */
export function findUsbCameras(devices: readonly LibusbDevice[]): readonly UsbCamera[] {
  return devices.flatMap((device) => {
    const interfaces = interfacesOf(device);
    const found = interfaces.flatMap((alternates) => asCamera(device, alternates) ?? []);
    return found.slice(0, 1);
  });
}

/**
 * The one camera that is meant: by its serial number, by its place ("1-2.3"), or, when nothing is
 * said, the only one there is.
 *
 * @throws NightError `camera.unreachable` when it is not there; `settings.invalid` when it is not
 * clear which of several is meant; `camera.refused` when serial numbers may not be read.
 */
export async function chooseUsbCamera(
  devices: readonly LibusbDevice[],
  which: string | null,
): Promise<UsbCamera> {
  const cameras = findUsbCameras(devices);
  if (which === null) {
    const [only] = cameras;
    if (only && cameras.length === 1) return only;
    if (!only) throw nothingThere("There is no camera on USB");
    throw new NightError(
      "settings.invalid",
      `There are ${cameras.length} cameras on USB; say which with --camera usb:PLACE or usb:SERIAL: ${await listed(cameras)}.`,
    );
  }
  const atPlace = cameras.find((camera) => camera.place === `USB ${which}`);
  if (atPlace) return atPlace;
  let refusal: unknown = null;
  for (const camera of cameras) {
    try {
      if ((await readSerial(camera)) === which) return camera;
    } catch (thrown) {
      refusal = claimError(thrown, camera.place);
    }
  }
  // One that may not be opened may well be the one that is meant.
  if (refusal !== null) throw refusal;
  throw nothingThere(`There is no camera ${which} on USB`);
}

/** The serial number that the device tells over USB; "" when it has none. */
export async function readSerial(camera: UsbCamera): Promise<string> {
  return await readText(camera, camera.device.deviceDescriptor.iSerialNumber);
}

/** The product's name as the device tells it over USB; "" when it has none. */
export async function readProduct(camera: UsbCamera): Promise<string> {
  return await readText(camera, camera.device.deviceDescriptor.iProduct ?? 0);
}

/** @param index  Of the string's descriptor; 0: the device has no such string. */
async function readText({ device }: UsbCamera, index: number): Promise<string> {
  if (index === 0) return "";
  // Closing it would take it from the program that has it open.
  const isOpenAlready = device.interfaces !== undefined;
  if (!isOpenAlready) device.open();
  try {
    return await new Promise<string>((resolve, reject) =>
      device.getStringDescriptor(index, (error, text) =>
        error ? reject(error) : resolve((text ?? "").replaceAll("\0", "").trim()),
      ),
    );
  } finally {
    if (!isOpenAlready) device.close();
  }
}

function interfacesOf(device: LibusbDevice): readonly (readonly LibusbInterface[])[] {
  try {
    return device.configDescriptor?.interfaces ?? [];
  } catch {
    // A device whose description cannot be read is no camera of ours.
    return [];
  }
}

type LibusbInterface = NonNullable<LibusbDevice["configDescriptor"]>["interfaces"][number][number];

function asCamera(device: LibusbDevice, alternates: readonly LibusbInterface[]): UsbCamera | null {
  const still = alternates.find(
    (one) =>
      one.bAlternateSetting === 0 &&
      one.bInterfaceClass === STILL_IMAGE.interfaceClass &&
      one.bInterfaceSubClass === STILL_IMAGE.subClass &&
      one.bInterfaceProtocol === STILL_IMAGE.protocol,
  );
  if (!still) return null;
  const endpoint = (type: number, direction: "in" | "out"): number | undefined =>
    still.endpoints.find(
      ({ bmAttributes, bEndpointAddress }) =>
        (bmAttributes & TRANSFER_TYPE_MASK) === type &&
        ((bEndpointAddress & ENDPOINT_IN) !== 0) === (direction === "in"),
    )?.bEndpointAddress;
  const bulkIn = endpoint(TYPES.bulk, "in");
  const bulkOut = endpoint(TYPES.bulk, "out");
  const interruptIn = endpoint(TYPES.interrupt, "in");
  if (bulkIn === undefined || bulkOut === undefined || interruptIn === undefined) return null;
  const interfaceNumber = still.bInterfaceNumber;
  return { device, place: placeOf(device), interfaceNumber, bulkIn, bulkOut, interruptIn };
}

function placeOf({ busNumber, deviceAddress, portNumbers }: LibusbDevice): string {
  const ports = portNumbers ?? [];
  return ports.length > 0
    ? `USB ${busNumber}-${ports.join(".")}`
    : `USB ${busNumber}:${deviceAddress}`;
}

async function listed(cameras: readonly UsbCamera[]): Promise<string> {
  const words = cameras.map(async (camera) => {
    const serial = await readSerial(camera).catch(() => "");
    const place = camera.place.replace("USB ", "");
    return serial === "" ? place : `${place} (serial ${serial})`;
  });
  return (await Promise.all(words)).join(", ");
}

function nothingThere(what: string): NightError {
  return new NightError(
    "camera.unreachable",
    `${what}; check that it is switched on and awake, and that its USB setting is the one for pictures or a computer (PTP), not mass storage.`,
  );
}

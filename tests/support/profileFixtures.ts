import type { CameraProfile } from "../../core/profiles/cameraProfile.ts";
import { parseCameraProfile, type FromFile } from "../../core/profiles/parse.ts";
import type { CameraProfiles, DeviceFacts } from "../../core/profiles/resolve.ts";
import { readProfiles } from "../../controller/profiles/readProfiles.ts";

/** A profile of a test's own, as from a file. */
export function aProfile(over: object): FromFile<CameraProfile> {
  const profile = { id: "made-up", label: "A made-up body", extends: "standard", ...over };
  const file = `profiles/cameras/${profile.id}.json`;
  return { file, profile: parseCameraProfile(profile, file) };
}

/** The shipped standard with a user's own profiles beside it. */
export function profilesWith(...own: readonly FromFile<CameraProfile>[]): CameraProfiles {
  return { ...readProfiles(null).cameras, own };
}

export function aDevice(over: Partial<DeviceFacts> = {}): DeviceFacts {
  return {
    ...{ usbVendorId: null, usbProductId: null, ptpVendorExtensionId: 0 },
    ...{ manufacturer: "Nobody", operations: [] },
    ...{ model: "Made-up", serialNumber: "0001", firmware: "1.2" },
    ...over,
  };
}

import type { CameraControls } from "../../core/profiles/cameraControls.ts";
import { factsOf, resolveCameraProfile } from "../../core/profiles/resolve.ts";
import type { DeviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import type { Transport } from "../cameras/transport.ts";
import { readProfiles } from "../profiles/readProfiles.ts";
import { localProfileId } from "./localProfile.ts";

/**
 * The profile that a camera is worked by while it is checked: the one that will be extended, so
 * what an earlier check found of this camera is left aside and found again.
 *
 * @throws NightError `profile.invalid`.
 */
export function workingControls(
  info: DeviceInfo,
  dataDir: string,
  usbIds?: Transport["usbIds"],
): CameraControls {
  const { cameras } = readProfiles(dataDir);
  const mine = localProfileId(info);
  const own = cameras.own.filter(({ profile }) => profile.id !== mine);
  return resolveCameraProfile(factsOf(info, usbIds), { ...cameras, own });
}

import { accessSync, constants, statSync } from "node:fs";
import { resolve } from "node:path";
import { NightError } from "../../core/errors.ts";
import {
  cameraTargets,
  exportDirsOf,
  isDemoOf,
  withOwnFolder,
  type CameraTarget,
  type StartOptions,
} from "../config.ts";
import { requireNative } from "../nativePackages.ts";
import { checkFeedAddress } from "../planning/kpFeed.ts";
import { readProfiles } from "../profiles/readProfiles.ts";
import { chooseRelease } from "../release/parseRelease.ts";
import { sensorTargets } from "../sensors/sensorTarget.ts";

/**
 * Finds what is wrong with a call of the daemon before anything is touched or takes time.
 * @throws NightError `usage.invalid`, `settings.invalid`, `profile.invalid`, `package.no_binary`.
 */
export async function checkStart(options: StartOptions): Promise<void> {
  const targets = cameraTargets(options);
  checkPlace(options, targets);
  if (options["kp-feed"] !== null) checkFeedAddress(options["kp-feed"]);
  checkAlarms(options);
  exportDirsOf(options);
  if (options["frames-folder"] !== null) checkFramesFolder(options["frames-folder"]);
  const profiles = readProfiles(resolve(withOwnFolder(options).data));
  const sensors = sensorTargets(options, profiles.sensors);
  const { release } = options;
  await requireNative([
    ...(targets.some(isOnUsb) ? ["usb"] : []),
    ...(release?.startsWith("hid") ? ["node-hid"] : []),
    ...(release?.startsWith("serial") || sensors.length > 0 ? ["serialport"] : []),
  ]);
  // Whether a relay is plugged in is seen when it is opened; the words are checked now.
  if (release !== null && release !== "hid") await chooseRelease(release, profiles.releases);
}

function isOnUsb(target: CameraTarget): boolean {
  if (target.kind !== "contact") return target.kind === "usb";
  return target.side.kind === "body" && target.side.body.kind === "usb";
}

function checkPlace(options: StartOptions, targets: readonly CameraTarget[]): void {
  const { lat, lon, gnss, "from-dusk": fromDusk } = options;
  if ((lat === null) !== (lon === null)) {
    throw new NightError("usage.invalid", "--lat and --lon go together");
  }
  const isDemo = isDemoOf(targets);
  if (fromDusk && lat === null && gnss === null && !isDemo) {
    throw new NightError("usage.invalid", "--from-dusk needs --lat and --lon, or --gnss");
  }
}

function checkAlarms({ "alarm-command": command, "alarm-webhook": webhook }: StartOptions): void {
  if (command !== null && !isRunnable(resolve(command))) {
    throw new NightError(
      "usage.invalid",
      `--alarm-command: ${command} is no program that can be run`,
    );
  }
  if (webhook !== null && !/^https?:\/\/\S+$/.test(webhook)) {
    throw new NightError(
      "usage.invalid",
      `--alarm-webhook takes an http or https address, not "${webhook}"`,
    );
  }
}

function isRunnable(path: string): boolean {
  try {
    accessSync(path, constants.X_OK);
    return statSync(path).isFile();
  } catch {
    return false;
  }
}

function checkFramesFolder(folder: string): void {
  if (statSync(folder, { throwIfNoEntry: false })?.isDirectory()) return;
  throw new NightError("usage.invalid", `--frames-folder: there is no folder ${folder}`);
}

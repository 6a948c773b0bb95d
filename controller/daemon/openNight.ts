import { basename, resolve } from "node:path";
import { utcMs, type UtcMs } from "../../core/units.ts";
import { Catalogue } from "../archive/catalogue.ts";
import { createNightFolder, nightInfoOf } from "../archive/nightFolder.ts";
import type { NightInfo } from "../archive/nightInfo.ts";
import { markRunning, recoverNight, unfinishedNights } from "../archive/recover.ts";
import { realMs, startOrigin, type ClockOrigin } from "../timing/clock.ts";
import type { StartOptions } from "../config.ts";
import { demoNight } from "./demoNight.ts";
import { mendNewest } from "./mendNewest.ts";
import { packageVersion } from "../ownFiles.ts";
import { FRAME_LINE_HEADING } from "../night/frameLine.ts";
import { placeNameOf } from "./startOrder.ts";

/** A real night that was cut off longer ago than this is over. */
const NIGHT_MS_MAX = 18 * 3_600_000;

/** What was running when a daemon ended, as the catalogue keeps it for the next one. */
export type RunningOrder = {
  readonly isDemo: boolean;
  readonly seed: string;
  readonly rate: number;
};

/** The night that is watched. */
export type OpenNight = {
  readonly catalogue: Catalogue;
  readonly info: NightInfo;
  readonly origin: ClockOrigin;
  readonly order: RunningOrder;
};

/** Opens the night that was cut off, when it can go on; else a new one. */
export async function openNight(
  options: StartOptions,
  isDemo: boolean,
  cameraIds: readonly string[],
  print: (line: string) => void,
): Promise<OpenNight> {
  const rate = isDemo ? options.rate : 1;
  const wanted: RunningOrder = { isDemo, seed: options.seed, rate };
  await mendNewest(resolve(options.data), print);
  const resumed = options["new-night"] ? null : resumeNight(resolve(options.data), wanted, print);
  if (resumed === null) return beginNight(options, wanted);
  await putInOrder(resumed.catalogue, cameraIds);
  return resumed;
}

/** What the terminal says of a night as it begins. */
export function nightLines({ info, order, catalogue }: OpenNight): readonly string[] {
  const what = order.isDemo
    ? `Demo night at ${info.placeName}, ${order.rate} times faster than life.`
    : `The night ${info.name}.`;
  return [what, `Frames go to ${catalogue.nightDir}`, FRAME_LINE_HEADING];
}

function beginNight(options: StartOptions, order: RunningOrder): OpenNight {
  const info = order.isDemo ? demoNight(order.seed, options["from-dusk"]) : realNight(options);
  const catalogue = Catalogue.create(createNightFolder(resolve(options.data), info), info);
  catalogue.setState("seed", order.seed);
  catalogue.setState("versions", { nattvakt: packageVersion(), node: process.version });
  const origin = startOrigin({ rate: order.rate, startUtcMs: info.startUtcMs });
  return { catalogue, info, origin, order };
}

function realNight({ name, lat, lon, "elevation-m": elevationM }: StartOptions): NightInfo {
  const isPlaced = lat !== null && lon !== null;
  return {
    name,
    startUtcMs: utcMs(Date.now()),
    latitudeDeg: lat ?? 0,
    longitudeDeg: lon ?? 0,
    ...(elevationM === null ? {} : { elevationM }),
    placeName: isPlaced ? placeNameOf(lat, lon) : "place not given",
    isRehearsal: false,
  };
}

function resumeNight(
  dataDir: string,
  wanted: RunningOrder,
  print: (line: string) => void,
): OpenNight | null {
  for (const cutOff of unfinishedNights(dataDir)) {
    const cutOffOrder = cutOff.order as RunningOrder;
    if (cutOffOrder.isDemo !== wanted.isDemo) continue;
    const catalogue = Catalogue.open(cutOff.nightDir);
    const info = nightInfoOf(catalogue);
    if (!info) {
      catalogue.close();
      continue;
    }
    // A simulated night stood still while nobody watched; the real sky went on.
    const nowUtcMs = wanted.isDemo ? lastUtcMs(catalogue, info) : utcMs(Date.now());
    const name = basename(cutOff.nightDir);
    if (!wanted.isDemo && nowUtcMs - info.startUtcMs > NIGHT_MS_MAX) {
      print(`${name} was cut off and is over now; a new night begins.`);
      markRunning(catalogue, null);
      catalogue.close();
      continue;
    }
    print(`${name} was cut off; the watch goes on with frame ${catalogue.frameCount()}.`);
    // The sky of a demo stays the one it began under; only its pace may be another.
    const order = { ...cutOffOrder, rate: wanted.rate };
    const elapsedMs = nowUtcMs - info.startUtcMs;
    const realOriginMs = realMs() - elapsedMs / order.rate;
    const origin = { rate: order.rate, startUtcMs: info.startUtcMs, realOriginMs };
    return { catalogue, info, origin, order };
  }
  return null;
}

function lastUtcMs(catalogue: Catalogue, info: NightInfo): UtcMs {
  return catalogue.lastEventUtcMs() ?? info.startUtcMs;
}

/** Sets half-written files aside and writes whole ones down, before a camera is asked for more. */
async function putInOrder(catalogue: Catalogue, cameraIds: readonly string[]): Promise<void> {
  for (const [index, cameraId] of cameraIds.entries()) {
    await recoverNight(catalogue, { cameraId, camera: null, folder: index === 0 ? "" : cameraId });
  }
}

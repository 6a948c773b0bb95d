import { existsSync } from "node:fs";
import { basename, resolve } from "node:path";
import { daemonWords } from "../../core/words/daemonWords.ts";
import { isPlaced, placeOf } from "../../core/sky/place.ts";
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
import { watchAhead } from "../night/nightSky.ts";
import { placeNameOf } from "./startOrder.ts";

/** A real night at a place that is not known, or without a dawn, is over so long after its beginning. */
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
  /** It is shown and not watched any more, until somebody starts a watch. */
  readonly isOver: boolean;
};

/** What a night is opened with beside the options of the start. */
type OpeningParts = {
  readonly isDemo: boolean;
  readonly cameraIds: readonly string[];
  readonly print: (line: string) => void;
  /** A service manager starts in the place of one that died: with this night, and with no other. */
  readonly revivedNightDir: string | null;
};

/** Opens the night that was cut off, when it can go on; else a new one. */
export async function openNight(
  options: StartOptions,
  { isDemo, cameraIds, print, revivedNightDir }: OpeningParts,
): Promise<OpenNight> {
  const rate = isDemo ? options.rate : 1;
  const wanted: RunningOrder = { isDemo, seed: options.seed, rate };
  await mendNewest(resolve(options.data), print);
  const resumed = options["new-night"] ? null : resumeNight(resolve(options.data), wanted, print);
  const opened = resumed ?? (revivedNightDir && overNight(revivedNightDir, wanted, print));
  if (!opened) return beginNight(options, wanted);
  await putInOrder(opened.catalogue, cameraIds);
  return opened;
}

/** What the terminal says of a night as it begins. */
export function nightLines({ info, order, catalogue }: OpenNight): readonly string[] {
  const what = order.isDemo
    ? daemonWords.night.demo(info.placeName, order.rate)
    : daemonWords.night.real(info.name);
  return [what, daemonWords.night.folder(catalogue.nightDir), daemonWords.frames.heading];
}

function beginNight(options: StartOptions, order: RunningOrder): OpenNight {
  const info = order.isDemo ? demoNight(order.seed, options["from-dusk"]) : realNight(options);
  const catalogue = Catalogue.create(createNightFolder(resolve(options.data), info), info);
  catalogue.setState("seed", order.seed);
  catalogue.setState("versions", { nattvakt: packageVersion(), node: process.version });
  // From here on: what dies before its first frame leaves no second night behind.
  markRunning(catalogue, order);
  const origin = startOrigin({ rate: order.rate, startUtcMs: info.startUtcMs });
  return { catalogue, info, origin, order, isOver: false };
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
    if (!wanted.isDemo && isPast(info, nowUtcMs)) {
      print(daemonWords.night.cutOffAndOver(name));
      markRunning(catalogue, null);
      catalogue.close();
      continue;
    }
    print(daemonWords.night.goesOn(name, catalogue.frameCount()));
    // The sky of a demo stays the one it began under; only its pace may be another.
    const order = { ...cutOffOrder, rate: wanted.rate };
    return { catalogue, info, origin: originAt(nowUtcMs, info, order), order, isOver: false };
  }
  return null;
}

/** A night that had ended when the program died: opened to be looked at, as it was before. */
function overNight(
  nightDir: string,
  order: RunningOrder,
  print: (line: string) => void,
): OpenNight | null {
  if (!existsSync(nightDir)) return null;
  const catalogue = Catalogue.open(nightDir);
  const info = nightInfoOf(catalogue);
  if (!info || info.isRehearsal !== order.isDemo) {
    catalogue.close();
    return null;
  }
  print(daemonWords.night.staysOver(basename(nightDir)));
  const origin = originAt(utcMs(Date.now()), info, order);
  return { catalogue, info, origin, order, isOver: true };
}

function originAt(nowUtcMs: UtcMs, { startUtcMs }: NightInfo, { rate }: RunningOrder): ClockOrigin {
  return { rate, startUtcMs, realOriginMs: realMs() - (nowUtcMs - startUtcMs) / rate };
}

/** Its own dawn has passed, where its place is known; else it began too long ago. */
function isPast(info: NightInfo, nowUtcMs: UtcMs): boolean {
  const place = isPlaced(info) ? placeOf({ elevationM: 0, ...info }) : null;
  const own = place === null ? null : watchAhead(info.startUtcMs, place);
  return nowUtcMs > (own?.endUtcMs ?? info.startUtcMs + NIGHT_MS_MAX);
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

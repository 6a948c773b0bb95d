import type { Server } from "node:http";
import { resolve } from "node:path";
import { daemonWords } from "../../core/words/daemonWords.ts";
import { utcMs, type MonotonicMs } from "../../core/units.ts";
import { holdDataFolder } from "../archive/holdDataFolder.ts";
import { createClock, startOrigin } from "../timing/clock.ts";
import {
  cameraTargets,
  exportDirsOf,
  isDemoOf,
  withOwnFolder,
  type CameraTarget,
  type StartOptions,
} from "../config.ts";
import { AlarmCalls, alarmWays } from "./alarmCalls.ts";
import { PageBeginner } from "./beginNight.ts";
import { claimFromAids, endAids, openAids } from "./cameraAids.ts";
import { CameraOpener, cameraIdsOf, type CameraOpenerParts } from "./cameraOpener.ts";
import { NightPlace } from "./nightPlace.ts";
import { nightLines, openNight, type OpenNight } from "./openNight.ts";
import { OpenedParts } from "./openedParts.ts";
import { openRelease } from "./openRelease.ts";
import { openSensors, placedBySensor } from "./openSensors.ts";
import { packageVersion } from "../ownFiles.ts";
import { servePage } from "./servePage.ts";
import { directionOf, startOrderNow } from "./startOrder.ts";
import { openLog } from "../log.ts";
import type { FrameCounts } from "../night/frameCounts.ts";
import { NightHost } from "../night/nightHost.ts";
import type { PageState } from "../pageBuildProcess.ts";
import type { Terminal } from "../terminal.ts";
import { awakeWhile, type TellSleep } from "../service/keepAwake.ts";
import { namingTheOther, nightOfTheDead, noteRunning } from "../service/runningProcess.ts";
import { readProfiles } from "../profiles/readProfiles.ts";
import type { ChosenRelease } from "../release/parseRelease.ts";
import type { SensorHub } from "../sensors/sensors.ts";
import { openDoor } from "../web/server.ts";

/** How often the state of the night is looked at for alarms, real milliseconds. */
const ALARM_LOOK_MS = 2_000;

/** The running program. */
export type Daemon = {
  /** Where the page is. */
  readonly address: string;
  /** Resolves when every watch has ended by itself. */
  readonly finished: Promise<void>;
  /** How many frames of this run have a picture, and how many are known to have none. */
  readonly frameCounts: () => FrameCounts;
  /** Ends everything in order. */
  readonly stop: () => Promise<void>;
  /** Ends everything now; the open shutter is closed all the same. */
  readonly abandon: () => Promise<void>;
};

/** What stands in for hardware, in tests, and how far the page is. */
export type DaemonParts = Pick<CameraOpenerParts, "contact"> & {
  readonly pageState?: () => PageState;
  /** Has the program start again with what was chosen on the page; left out: the page cannot. */
  readonly startWith?: (options: StartOptions) => void;
  /** What kept the program from starting with the last choice on the page. */
  readonly beginRefusal?: string | undefined;
  /** A service manager started it, and starts it again when it dies; left out: a person did. */
  readonly isManaged?: boolean;
  /** Keeps the computer from sleeping, and gives what lets it; left out: it may sleep. */
  readonly keepAwake?: (tell: TellSleep) => () => void;
  /** What the log says of when it is lost; left out: there is none. */
  readonly terminal?: Pick<Terminal, "onLost">;
};

/**
 * Builds the program from its parts and sets the watch going: the one place that makes real
 * cameras, clocks, files and servers.
 *
 * @param print  Takes one line for the terminal.
 * @throws NightError with one sentence for whatever stands in the way.
 */
export async function startDaemon(
  given: StartOptions,
  print: (line: string) => void,
  parts: DaemonParts = {},
): Promise<Daemon> {
  const targets = cameraTargets(given);
  const asked = withOwnFolder(given);
  const dataDir = resolve(asked.data);
  const heldDir = resolve(given.data);
  const opened = new OpenedParts();
  try {
    // Another one that runs already is found out before anything else is touched.
    const door = opened.add(await openDoor(asked.port), (one) => one.close());
    opened.add(holdDataFolder(heldDir), (release) => release());
    const profiles = readProfiles(dataDir);
    const release = await openRelease(targets, profiles.releases, print);
    const sensors = opened.add(openSensors(asked, profiles.sensors, print), (one) => one.close());
    const options = await placedBySensor(asked, sensors, print);
    const equipment = { ...parts, given, targets, release, sensors, door, opened, heldDir };
    return await startOn(equipment, options, print);
  } catch (thrown) {
    await opened.close();
    throw namingTheOther(thrown, heldDir);
  }
}

/** What there is to watch with. */
type Equipment = DaemonParts & {
  /** As the program was started. */
  readonly given: StartOptions;
  readonly targets: readonly CameraTarget[];
  readonly release: ChosenRelease | null;
  readonly sensors: SensorHub;
  /** Where the page will be. */
  readonly door: Server;
  readonly opened: OpenedParts;
  /** The data folder that no other Nattvakt may use meanwhile. */
  readonly heldDir: string;
};

type WatchingParts = {
  readonly cameras: CameraOpener;
  readonly host: NightHost;
  readonly sensors: SensorHub;
  readonly print: (line: string) => void;
};

async function startOn(
  equipment: Equipment,
  options: StartOptions,
  print: (line: string) => void,
): Promise<Daemon> {
  const { targets, sensors, door, opened } = equipment;
  const dataDir = resolve(options.data);
  const isDemo = isDemoOf(targets);
  const cameraIds = cameraIdsOf(targets);

  const revivedNightDir = equipment.isManaged ? nightOfTheDead(equipment.heldDir) : null;
  const opening = { isDemo, cameraIds, print, revivedNightDir };
  const night = targets.length === 0 ? null : await openNight(options, opening);
  const clock = createClock(
    night?.origin ?? startOrigin({ rate: 1, startUtcMs: utcMs(Date.now()) }),
  );
  const { log } = opened.add(openLog(dataDir), (one) => one.close());
  equipment.terminal?.onLost((why) => log.warn("terminal.lost", { why, watch: "goes on" }));

  const opener = new CameraOpener({ ...equipment, options, origin: clock.origin, print, log });
  const cameras = opened.add(opener, (one) => one.close());
  const nightPlace = new NightPlace(options, night);
  const startOrder = () => startOrderNow(options, clock, { place: nightPlace.place, isDemo });
  const aids = openAids({
    ...{ cameras, clock, dataDir, skyExposure: () => startOrder().first },
    place: () => nightPlace.place,
    optics: {
      focalLengthMm: options["focal-length-mm"],
      sensorWidthMm: options["sensor-width-mm"],
      pixelPitchUm: options["pixel-pitch-um"],
    },
  });
  const tellSleep: TellSleep = (lack) => {
    print(lack ?? daemonWords.keptAwakeAgain);
    if (lack === null) log.info("sleep.held_off");
    else log.warn("sleep.possible", { sentence: lack });
    host.guardSleep(lack);
  };
  const { keepAwake = () => () => {} } = equipment;
  const onWatching = opened.add(
    awakeWhile(() => {
      // What was said of an earlier watch may be true no more; a lack is said again.
      host.guardSleep(null);
      return keepAwake(tellSleep);
    }),
    (needs) => needs("resting"),
  );
  const host = new NightHost({
    version: packageVersion(),
    dataDir,
    clock,
    log,
    catalogue: night?.catalogue ?? null,
    cameraIds,
    openCamera: (cameraId, { nightDir }) =>
      cameras.openForWatch(cameraId, nightDir, { log, print }),
    direction: directionOf(options, isDemo),
    claimCamera: () => claimFromAids(aids),
    startOrder,
    runningOrder: night?.order ?? null,
    isDemo,
    print,
    onWatching,
  });
  const alarms = new AlarmCalls({ ways: alarmWays(options), log });
  // A state may become due by time alone, without any message.
  const look = setInterval(() => alarms.see(host.view()), ALARM_LOOK_MS);
  opened.add(look, clearInterval);
  hearSensors(sensors, { host, nightPlace, dawnMs: () => startOrder().settings.dawnMs, print });

  const { "kp-feed": kpFeedUrl } = options;
  const sensedPlace = () => sensors.place;
  const { pageState = () => "ready" as const, given, startWith, beginRefusal } = equipment;
  const beginner =
    startWith &&
    new PageBeginner({
      ...{ given, startWith, refusal: beginRefusal ?? null },
      isWatching: () => !isDemo && cameraIds.some((cameraId) => host.isWatching(cameraId)),
    });
  const page = opened.add(
    await servePage({
      door,
      dataDir,
      exportDirs: exportDirsOf(options),
      kpFeedUrl,
      clock,
      host,
      aids,
      sensedPlace,
      log,
      pageState,
      beginner,
      alarms,
    }),
    (one) => one.close(),
  );
  const note = { address: page.address, nightDir: night?.catalogue.nightDir ?? null };
  opened.add(noteRunning(equipment.heldDir, note), (forget) => forget());
  print(daemonWords.page.address(page.address));

  const shutDown = async (endWatches: () => Promise<void>): Promise<void> => {
    // The nights' catalogues close with their watches: nothing is looked at from here on.
    clearInterval(look);
    await endAids(aids);
    await endWatches();
    await opened.close();
  };
  try {
    if (night) await watch(night, { cameras, host, sensors, print });
  } catch (thrown) {
    await shutDown(() => host.abandon());
    throw thrown;
  }
  return {
    address: page.address,
    finished: host.finished,
    frameCounts: () => host.frameCounts,
    stop: () => shutDown(() => host.stop()),
    abandon: () => shutDown(() => host.abandon()),
  };
}

/** Hands on what the sensors say; a receiver's first fix may move the night and its dawn. */
function hearSensors(
  sensors: SensorHub,
  run: {
    readonly host: NightHost;
    readonly nightPlace: NightPlace;
    readonly dawnMs: () => MonotonicMs | null;
    readonly print: (line: string) => void;
  },
): void {
  const { host, nightPlace, dawnMs, print } = run;
  sensors.onEvent((event) => {
    host.sense(event);
    if (event.kind !== "place" || !nightPlace.learn(event)) return;
    print(daemonWords.gnss.placeFound);
    host.placeFound(dawnMs());
  });
}

/** Sets every camera's watch going. */
async function watch(
  night: OpenNight,
  { cameras, host, sensors, print }: WatchingParts,
): Promise<void> {
  if (night.order.isDemo) await cameras.startVirtual(night);
  for (const line of nightLines(night)) print(line);
  if (night.isOver) host.startNone();
  else host.startAll();
  // What a receiver said while the night was being prepared belongs to the night, too.
  const { laptopLessGnssMs } = sensors;
  if (laptopLessGnssMs !== null) host.sense({ kind: "clock", laptopLessGnssMs });
}

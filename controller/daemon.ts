import { readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { basename, join, resolve } from "node:path";
import { NightError } from "../core/errors.ts";
import type { Framing } from "../core/frames/keogramAxes.ts";
import { DEFAULT_WATCH_SETTINGS, type WatchSettings } from "../core/night/watchSettings.ts";
import { monotonicMs, utcMs, type MonotonicMs, type UtcMs } from "../core/units.ts";
import { BenchDesk } from "./bench-check/benchDesk.ts";
import { Catalogue } from "./archive/catalogue.ts";
import { createNightFolder, nightInfoOf } from "./archive/nightFolder.ts";
import type { NightInfo } from "./archive/nightInfo.ts";
import { markRunning, recoverNight, unfinishedNights } from "./archive/recover.ts";
import type { Camera } from "./cameras/camera.ts";
import type { ClockSetting } from "./shutter/cameraTime.ts";
import { openContactCamera } from "./cameras/contactCamera.ts";
import { createTransport } from "./cameras/createTransport.ts";
import { openFolderCamera } from "./cameras/folderCamera.ts";
import { keepOriginals } from "./cameras/originals.ts";
import { openPtpCamera } from "./cameras/ptpCamera.ts";
import { createClock, realMs, type Clock, type ClockOrigin } from "./clock.ts";
import { cameraTargets, exposureSettings, type CameraTarget, type StartOptions } from "./config.ts";
import { DEMO_FACING, DEMO_NIGHT, DEMO_STORY } from "./demoNight.ts";
import { FocusAid } from "./focus/focusAid.ts";
import { FramingAid } from "./focus/framingAid.ts";
import { TrialCamera } from "./focus/trialCamera.ts";
import { openLog } from "./log.ts";
import { NightHost } from "./night/nightHost.ts";
import { firstExposure, watchAhead } from "./night/nightSky.ts";
import { readFramingOf } from "./planning/frameFraming.ts";
import { DeliverService } from "./deliver/deliverService.ts";
import { HouseWork } from "./deliver/houseWork.ts";
import { readProfiles, type HardwareProfiles } from "./profiles/readProfiles.ts";
import { chooseRelease, type ChosenRelease } from "./release/parseRelease.ts";
import { RELEASE_CAUTIONS, releaseLabel, serialCautions } from "./release/releaseTarget.ts";
import { SensorDesk } from "./sensors/sensorDesk.ts";
import { sensorTarget, type SensorTarget } from "./sensors/sensorTarget.ts";
import { PlanService } from "./planning/planService.ts";
import { startVirtualCamera, type VirtualCameraProcess } from "./virtualCameraProcess.ts";
import { deliverRoutes } from "./web/deliverRoutes.ts";
import { houseRoutes } from "./web/houseRoutes.ts";
import { benchRoutes } from "./web/benchRoutes.ts";
import { planRoutes } from "./web/planRoutes.ts";
import { focusRoutes } from "./web/focusRoutes.ts";
import { startWebServer } from "./web/server.ts";

/** Frames of a camera's first night that teach its tone curve: a few minutes of dusk. */
const PROBE_COUNT_MAX = 40;
/** Fetching and metering a preview takes a tenth or two, real seconds, whatever the night's rate. */
const READING_GRACE_SECONDS = 0.3;
const FULL_FRAME_HEIGHT_MM = 24;
const UI_DIR = fileURLToPath(new URL("../ui/dist/", import.meta.url));

/** The running program. */
export type Daemon = {
  /** Where the page is. */
  readonly address: string;
  /** Resolves when every watch has ended by itself. */
  readonly finished: Promise<void>;
  /** Ends everything in order. */
  readonly stop: () => Promise<void>;
  /** Ends everything now; the open shutter is closed all the same. */
  readonly abandon: () => Promise<void>;
};

/** What was running when a daemon ended, as the catalogue keeps it for the next one. */
type RunningOrder = { readonly isDemo: boolean; readonly seed: string; readonly rate: number };

/**
 * Builds the program from its parts and sets the watch going: the one place that makes real
 * cameras, clocks, files and servers.
 *
 * @param print  Takes one line for the terminal.
 * @throws NightError with one sentence for whatever stands in the way.
 */
export async function startDaemon(
  asked: StartOptions,
  print: (line: string) => void,
): Promise<Daemon> {
  const targets = cameraTargets(asked);
  const dataDir = resolve(asked.data);
  const hardware = readProfiles(dataDir);
  const release = await openedRelease(targets, hardware, print);
  const sensors = new SensorDesk({
    targets: sensorTargets(asked, hardware),
    nowUtcMs: () => utcMs(Date.now()),
    print,
  });
  try {
    const options = await placedBySensor(asked, sensors, print);
    return await startOn({ targets, dataDir, release, sensors }, options, print);
  } catch (thrown) {
    await sensors.close();
    throw thrown;
  }
}

/** What there is to watch with. */
type Equipment = {
  readonly targets: readonly CameraTarget[];
  readonly dataDir: string;
  readonly release: ChosenRelease | null;
  readonly sensors: SensorDesk;
};

async function startOn(
  { targets, dataDir, release, sensors }: Equipment,
  options: StartOptions,
  print: (line: string) => void,
): Promise<Daemon> {
  const isDemo = targets.some((target) => target.kind === "virtual");
  const night = targets.length === 0 ? null : openNight(options, dataDir, isDemo, print);
  const { log, close: closeLog } = openLog(dataDir);
  const clock = createClock(night?.origin ?? originNow(1, utcMs(Date.now())));
  if (night?.isResumed) await putInOrder(night.catalogue, targets.length);

  let virtual: VirtualCameraProcess | null = null;
  const cameraIds = targets.map((_, index) => `camera-${index + 1}`);
  const open = (cameraId: string): Camera => {
    const target = targets[cameraIds.indexOf(cameraId)];
    if (!target) throw new NightError("settings.invalid", `There is no camera called ${cameraId}.`);
    const setClock = options["set-camera-clock"]
      ? { oursLessTrueMs: sensors.laptopLessGnssMs ?? 0 }
      : null;
    const { origin } = clock;
    // Read anew: a bench check may have written this camera's own profile since.
    const hardware = readProfiles(dataDir);
    const world = { virtual, release, hardware, origin, setClock };
    const body = openCamera(cameraId, target, world);
    const framesFolder = options["frames-folder"];
    if (framesFolder === null || release !== null) return body;
    return openFolderCamera({ body, origin, framesFolder: resolve(framesFolder) });
  };
  const openTrial = (cameraId: string) => new TrialCamera(open(cameraId), clock);
  const focus = new FocusAid(openTrial);
  const framing = new FramingAid(
    openTrial,
    readFramingOf,
    () => startOrder(options, clock, night?.info ?? null).first,
  );
  const bench = new BenchDesk({
    ...{ dataDir, origin: clock.origin, utcMs: () => utcMs(Date.now()) },
    transportOf: (cameraId) => {
      const target = benchTarget(targets[cameraIds.indexOf(cameraId)], virtual);
      return () => createTransport(target);
    },
  });
  /** One thing at a time has the camera: a watch, the focus aid, a test frame, the bench check. */
  const claim = (cameraId: string): void => {
    claimFromWatch(host, cameraId);
    claimFromAids({ focus, framing, bench });
  };
  const host = new NightHost({
    version: packageVersion(),
    dataDir,
    clock,
    log,
    catalogue: night?.catalogue ?? null,
    cameraIds,
    openCamera: (cameraId) => {
      const camera = open(cameraId);
      if (!options["fetch-originals"] || !night) return camera;
      const folder = join(night.catalogue.nightDir, "originals", cameraId);
      return keepOriginals(camera, { folder, log, print });
    },
    framing: framingOf(options, isDemo),
    claimCamera: () => claimFromAids({ focus, framing, bench }),
    startOrder: () => startOrder(options, clock, night?.info ?? null),
    runningOrder: { isDemo, seed: options.seed, rate: clock.origin.rate } satisfies RunningOrder,
    print,
  });

  sensors.onEvent((event) => host.sense(event));

  const plans = new PlanService({
    dataFolder: dataDir,
    kpFeedUrl: options["kp-feed"],
    nowUtcMs: () => clock.utcMs(),
  });
  const deliveries = new DeliverService({ dataDir });
  const house = new HouseWork({ dataDir, isWatched: (nightId) => host.isWatched(nightId) });
  const web = await startWebServer({
    port: options.port,
    service: host,
    uiDir: UI_DIR,
    cacheDir: join(dataDir, "cache"),
    extraRoutes: [
      ...planRoutes(plans, host),
      ...focusRoutes({ focus, framing, claim }),
      ...benchRoutes({ desk: bench, claim }),
      ...deliverRoutes(deliveries),
      ...houseRoutes({ find: (nightId, query) => deliveries.find(nightId, query), house }),
    ],
    log: (event, fields) => log.error(event, fields),
  });
  const shutDown = async (endWatches: () => Promise<void>): Promise<void> => {
    await bench.stop();
    await focus.stop();
    await endWatches();
    await web.close();
    deliveries.close();
    house.close();
    await plans.close();
    await virtual?.stop();
    await sensors.close();
    closeLog();
  };
  try {
    print(`The page: ${web.address}`);
    if (isDemo) {
      virtual = await startVirtualCamera({
        origin: clock.origin,
        seed: night?.order.seed ?? options.seed,
        story: DEMO_STORY,
        storyStartUtcMs: night?.info.startUtcMs ?? DEMO_NIGHT.startUtcMs,
      });
    }
    if (night) {
      print(nightLine(night, isDemo, clock));
      host.startAll();
      // What a receiver said while the night was being prepared belongs to the night, too.
      const { laptopLessGnssMs } = sensors;
      if (laptopLessGnssMs !== null) host.sense({ kind: "clock", laptopLessGnssMs });
    }
  } catch (thrown) {
    await shutDown(() => host.abandon());
    throw thrown;
  }
  return {
    address: web.address,
    finished: host.finished,
    stop: () => shutDown(() => host.stop()),
    abandon: () => shutDown(() => host.abandon()),
  };
}

type OpenNight = {
  readonly catalogue: Catalogue;
  readonly info: NightInfo;
  readonly origin: ClockOrigin;
  readonly isResumed: boolean;
  readonly order: RunningOrder;
};

/** The night that was cut off, when it can go on; else a new one. */
function openNight(
  options: StartOptions,
  dataDir: string,
  isDemo: boolean,
  print: (line: string) => void,
): OpenNight {
  const order: RunningOrder = {
    isDemo,
    seed: options.seed,
    rate: isDemo ? options.rate : 1,
  };
  const resumed = options["new-night"] ? null : resumeNight(dataDir, order, print);
  if (resumed) return resumed;
  const info: NightInfo = isDemo
    ? DEMO_NIGHT
    : {
        name: options.name,
        startUtcMs: utcMs(Date.now()),
        latitudeDeg: options.lat ?? 0,
        longitudeDeg: options.lon ?? 0,
        placeName: placeName(options),
        isRehearsal: false,
      };
  const catalogue = Catalogue.create(createNightFolder(dataDir, info), info);
  catalogue.setState("seed", order.seed);
  catalogue.setState("versions", { nattvakt: packageVersion(), node: process.version });
  const origin = originNow(order.rate, info.startUtcMs);
  return { catalogue, info, origin, isResumed: false, order };
}

function resumeNight(
  dataDir: string,
  wanted: RunningOrder,
  print: (line: string) => void,
): OpenNight | null {
  for (const cutOff of unfinishedNights(dataDir)) {
    const order = cutOff.order as RunningOrder;
    if (order.isDemo !== wanted.isDemo) continue;
    const catalogue = Catalogue.open(cutOff.nightDir);
    const info = nightInfoOf(catalogue);
    if (!info) {
      catalogue.close();
      continue;
    }
    // A simulated night stood still while nobody watched; the real sky went on.
    const nowUtcMs = order.isDemo ? lastUtcMs(catalogue, info) : utcMs(Date.now());
    const name = basename(cutOff.nightDir);
    if (!order.isDemo && nowUtcMs - info.startUtcMs > 18 * 3_600_000) {
      print(
        `${name} was cut off and is over now; its frames are put in order, a new night begins.`,
      );
      markRunning(catalogue, null);
      catalogue.close();
      continue;
    }
    print(`${name} was cut off; the watch goes on with frame ${catalogue.frameCount()}.`);
    const origin: ClockOrigin = {
      rate: wanted.rate,
      startUtcMs: info.startUtcMs,
      realOriginMs: realMs() - (nowUtcMs - info.startUtcMs) / wanted.rate,
    };
    return { catalogue, info, origin, isResumed: true, order };
  }
  return null;
}

function lastUtcMs(catalogue: Catalogue, info: NightInfo): UtcMs {
  return catalogue.lastEventUtcMs() ?? info.startUtcMs;
}

/** Sets half-written files aside and writes whole ones down, before a camera is asked for more. */
async function putInOrder(catalogue: Catalogue, cameraCount: number): Promise<void> {
  for (let index = 0; index < cameraCount; index += 1) {
    const cameraId = `camera-${index + 1}`;
    await recoverNight(catalogue, { cameraId, camera: null, folder: index === 0 ? "" : cameraId });
  }
}

function originNow(rate: number, startUtcMs: UtcMs): ClockOrigin {
  return { rate, startUtcMs, realOriginMs: realMs() };
}

/** Chooses the release contact, and says what has to be minded before it is touched. */
async function openedRelease(
  targets: readonly CameraTarget[],
  hardware: HardwareProfiles,
  print: (line: string) => void,
): Promise<ChosenRelease | null> {
  const asked = targets.find((target) => target.kind === "contact");
  if (!asked) return null;
  const chosen = await chooseRelease(asked.release, hardware.releases);
  const { side } = asked;
  const what =
    side.kind === "folder" ? `a camera that stands at ISO ${side.fixedIso}` : "the camera";
  print(`${releaseLabel(chosen.target)} releases ${what}.`);
  const serial = chosen.target.kind === "serial" ? serialCautions(chosen.target) : [];
  for (const caution of [...RELEASE_CAUTIONS, ...serial]) print(caution);
  return chosen;
}

function sensorTargets(options: StartOptions, { sensors }: HardwareProfiles): SensorTarget[] {
  const { gnss, "light-meter": lightMeter, climate } = options;
  const words = { gnss, lightMeter, climate };
  return (["gnss", "lightMeter", "climate"] as const).flatMap((kind) => {
    const word = words[kind];
    return word === null ? [] : [sensorTarget(word, kind, sensors)];
  });
}

/** A receiver under the open sky knows its place within seconds; one under a roof may never. */
const PLACE_MS_MAX = 15_000;

/** The place that a GNSS receiver gives, where none was given by hand. */
async function placedBySensor(
  options: StartOptions,
  sensors: SensorDesk,
  print: (line: string) => void,
): Promise<StartOptions> {
  if (options.gnss === null || options.lat !== null) return options;
  print("Waiting for the GNSS receiver's place.");
  const place = await sensors.firstPlace(PLACE_MS_MAX);
  if (place === null) {
    print("The GNSS receiver has no place yet; the night begins without one.");
    return options;
  }
  const { latitudeDeg: lat, longitudeDeg: lon } = place;
  print(`GNSS: ${lat.toFixed(4)}, ${lon.toFixed(4)}.`);
  return { ...options, lat, lon };
}

/** What cameras are opened with. */
type CameraWorld = {
  readonly virtual: VirtualCameraProcess | null;
  readonly release: ChosenRelease | null;
  readonly hardware: HardwareProfiles;
  readonly origin: ClockOrigin;
  readonly setClock: ClockSetting | null;
};

function openCamera(cameraId: string, target: CameraTarget, world: CameraWorld): Camera {
  const { virtual, release, origin, setClock } = world;
  const profiles = world.hardware.cameras;
  switch (target.kind) {
    case "virtual":
      if (!virtual) throw new NightError("camera.unreachable", "The virtual camera is not up.");
      return openPtpCamera({
        cameraId,
        target: { kind: "ip", host: virtual.host, port: virtual.port },
        ...{ origin, profiles, setClock },
      });
    case "ip":
    case "usb":
      return openPtpCamera({ cameraId, target, origin, profiles, setClock });
    case "contact":
      if (!release) throw new NightError("release.gone", "The release contact is not there.");
      return openContactCamera({
        ...{ cameraId, origin, release: release.target, busySeconds: release.busySeconds },
        side:
          target.side.kind === "folder"
            ? { ...target.side, framesFolder: resolve(target.side.framesFolder) }
            : { kind: "body", body: openCamera(cameraId, target.side.body, world) },
      });
  }
}

/** Where a bench check finds the camera. @throws NightError for one that no cable leads to. */
function benchTarget(target: CameraTarget | undefined, virtual: VirtualCameraProcess | null) {
  if (target?.kind === "ip" || target?.kind === "usb") return target;
  if (target?.kind === "virtual" && virtual) {
    return { kind: "ip", host: virtual.host, port: virtual.port } as const;
  }
  throw new NightError("settings.invalid", "A bench check needs a camera on a cable or network.");
}

/** @throws NightError `settings.invalid` while something before dark has the camera. */
function claimFromAids(aids: { focus: FocusAid; framing: FramingAid; bench: BenchDesk }): void {
  const { focus, framing, bench } = aids;
  const holder = [
    { isOn: focus.isRunning, sentence: "Stop the focus aid first; it has the camera." },
    { isOn: framing.isRunning, sentence: "A test frame is being taken; wait for it." },
    { isOn: bench.isRunning, sentence: "The bench check has the camera; wait for it or end it." },
  ].find(({ isOn }) => isOn);
  if (holder) throw new NightError("settings.invalid", holder.sentence);
}

/** Where the lens looks, as far as it was told; the height is that of a 3:2 full frame. */
function framingOf(options: StartOptions, isDemo: boolean): Framing | null {
  const azimuthDeg = isDemo ? DEMO_FACING.azimuthDeg : options.azimuth;
  const altitudeDeg = isDemo ? DEMO_FACING.altitudeDeg : options.altitude;
  if (azimuthDeg === null || altitudeDeg === null) return null;
  return {
    azimuthDeg,
    altitudeDeg,
    focalLengthMm: options["focal-length-mm"],
    pictureHeightMm: FULL_FRAME_HEIGHT_MM,
  };
}

function claimFromWatch(host: NightHost, cameraId: string): void {
  if (!host.isWatching(cameraId)) return;
  throw new NightError(
    "settings.invalid",
    "The watch has this camera; stop the watch first, then start it again afterwards.",
  );
}

function startOrder(options: StartOptions, clock: Clock, info: NightInfo | null) {
  const exposure = exposureSettings(options);
  const now = clock.utcMs();
  const hasPlace = info !== null && (info.isRehearsal || options.lat !== null);
  const place = hasPlace
    ? { latitudeDeg: info.latitudeDeg, longitudeDeg: info.longitudeDeg, elevationM: 0 }
    : null;
  // Where it was not told, a northern sky as low as most aurora frames look is near enough to begin.
  const towards = {
    bearingDeg: options.azimuth ?? DEMO_FACING.azimuthDeg,
    elevationDeg: options.altitude ?? DEMO_FACING.altitudeDeg,
  };
  const at = (utc: UtcMs | null): MonotonicMs | null =>
    utc === null ? null : monotonicMs(utc - clock.origin.startUtcMs);
  const ahead = place === null ? null : watchAhead(now, place);
  const waits = options["from-dusk"] && ahead !== null && ahead.startUtcMs > now;
  const startUtcMs = waits ? ahead.startUtcMs : null;
  const settings: WatchSettings = {
    ...DEFAULT_WATCH_SETTINGS,
    exposure,
    startMs: at(startUtcMs),
    dawnMs: at(ahead?.endUtcMs ?? null),
    frameCountMax: options.frames,
    sentinelIntervalSeconds: options["sentinel-seconds"],
    probeCountMax: PROBE_COUNT_MAX,
    readingGraceSeconds: READING_GRACE_SECONDS * Math.max(1, clock.origin.rate),
    // A camera answers in real time, however fast the night goes.
    silenceSecondsMax: DEFAULT_WATCH_SETTINGS.silenceSecondsMax * Math.max(1, clock.origin.rate),
  };
  const first = place === null ? null : firstExposure(startUtcMs ?? now, place, towards, exposure);
  return { settings, first };
}

function placeName(options: StartOptions): string {
  return options.lat === null || options.lon === null
    ? "place not given"
    : `${options.lat.toFixed(2)}, ${options.lon.toFixed(2)}`;
}

function nightLine(night: OpenNight, isDemo: boolean, clock: Clock): string {
  const what = isDemo
    ? `Demo night at ${night.info.placeName}, ${clock.origin.rate} times faster than life`
    : `The night ${night.info.name}`;
  return `${what}; frames go to ${night.catalogue.nightDir}`;
}

function packageVersion(): string {
  const text = readFileSync(new URL("../package.json", import.meta.url), "utf8");
  return (JSON.parse(text) as { version: string }).version;
}

import type { Server } from "node:http";
import { join } from "node:path";
import { daemonWords } from "../../core/words/daemonWords.ts";
import { NightError } from "../../core/errors.ts";
import type { Clock } from "../timing/clock.ts";
import { DeliverService } from "../deliver/deliverService.ts";
import { UpkeepJobs } from "../deliver/upkeepJobs.ts";
import type { Log } from "../log.ts";
import type { NightHost } from "../night/nightHost.ts";
import type { PageState } from "../pageBuildProcess.ts";
import { PlanService } from "../planning/planService.ts";
import { OWN_DIR } from "../ownFiles.ts";
import type { SensedPlace } from "../sensors/sensors.ts";
import { alarmRoutes, type AlarmTrial } from "../web/alarmRoutes.ts";
import { beginRoutes, type NightBeginner } from "../web/beginRoutes.ts";
import { benchRoutes } from "../web/benchRoutes.ts";
import { deliverRoutes } from "../web/deliverRoutes.ts";
import { focusRoutes } from "../web/focusRoutes.ts";
import { fileRoutes } from "../web/fileRoutes.ts";
import { metricsToken } from "../web/metricsAccess.ts";
import { planRoutes } from "../web/planRoutes.ts";
import { startWebServer, type WebServer } from "../web/server.ts";
import { claimFromAids, type CameraAids } from "./cameraAids.ts";

const UI_DIR = join(OWN_DIR, "ui", "dist");

/** Serves the page and its API: the watch, and what belongs to the parts before and after it. */
export async function servePage(options: {
  /** Open already. */
  readonly door: Server;
  readonly dataDir: string;
  /** Folders outside the data folder that the page may copy nights into. */
  readonly exportDirs: readonly string[];
  readonly kpFeedUrl: string | null;
  readonly clock: Clock;
  readonly host: NightHost;
  readonly aids: CameraAids;
  /** Where a GNSS receiver stands; null: not known. */
  readonly sensedPlace: () => SensedPlace | null;
  readonly log: Log;
  /** How far the page is. */
  readonly pageState: () => PageState;
  /** Begins a night from the page; undefined: it cannot. */
  readonly beginner: NightBeginner | undefined;
  readonly alarms: AlarmTrial;
}): Promise<Pick<WebServer, "address" | "close">> {
  const {
    door,
    dataDir,
    exportDirs,
    kpFeedUrl,
    clock,
    host,
    aids,
    sensedPlace,
    log,
    pageState,
    beginner,
    alarms,
  } = options;
  const claim = (cameraId: string): void => {
    claimFromWatch(host, cameraId);
    claimFromAids(aids);
  };
  const plans = new PlanService({
    dataFolder: dataDir,
    kpFeedUrl,
    nowUtcMs: () => clock.utcMs(),
    sensedPlace,
  });
  const deliveries = new DeliverService({ dataDir });
  const upkeep = new UpkeepJobs({
    dataDir,
    exportDirs,
    isWatched: (nightId) => host.isWatched(nightId),
  });
  const web = await startWebServer({
    port: door,
    service: host,
    uiDir: UI_DIR,
    pageState,
    cacheDir: join(dataDir, "cache"),
    metricsToken: metricsToken(dataDir),
    extraRoutes: [
      ...planRoutes(plans, host, (cameraId) => aids.framing.pictureOf(cameraId)),
      ...alarmRoutes(alarms, () => clock.utcMs()),
      ...(beginner ? beginRoutes(beginner) : []),
      ...focusRoutes({ ...aids, claim }),
      ...benchRoutes({ runner: aids.bench, claim }),
      ...deliverRoutes(deliveries),
      ...fileRoutes({ find: (nightId, query) => deliveries.find(nightId, query), upkeep }),
    ],
    log: (event, fields) => log.error(event, fields),
  });
  return {
    address: web.address,
    close: async () => {
      await web.close();
      deliveries.close();
      upkeep.close();
      await plans.close();
    },
  };
}

/** @throws NightError `settings.invalid` while the watch has the camera. */
function claimFromWatch(host: NightHost, cameraId: string): void {
  if (!host.isWatching(cameraId)) return;
  throw new NightError("settings.invalid", daemonWords.camera.hasWatch);
}

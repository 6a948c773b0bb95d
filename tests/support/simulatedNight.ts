import sharp from "sharp";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../controller/archive/nightFolder.ts";
import { DEMO_FACING, DEMO_NIGHT } from "../../controller/daemon/demoNight.ts";
import { SILENT_LOG } from "./silentLog.ts";
import { opticsOf } from "../../core/photometry/optics.ts";
import { FrameMeter } from "../../controller/night/frameMeter.ts";
import { firstExposure, watchAhead } from "../../controller/night/nightSky.ts";
import { WatchRunner } from "../../controller/night/watchRunner.ts";
import { DEFAULT_EXPOSURE_SETTINGS, type ExposureSettings } from "../../core/exposure/settings.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { WatchState } from "../../core/watch/state.ts";
import { DEFAULT_WATCH_SETTINGS } from "../../core/watch/watchSettings.ts";
import { createRandom } from "../../core/random.ts";
import {
  FULL_FRAME_SENSOR,
  renderFrame,
  TONE_CURVES,
  type FrameTruth,
  type ToneCurveName,
} from "../../core/simulation/render.ts";
import { createRenderMemory } from "../../core/simulation/renderMemory.ts";
import { createSky, DEMO_NIGHT as SKY_NIGHT, type SkyScenario } from "../../core/simulation/sky.ts";
import { monotonicMs, utcMs } from "../../core/units.ts";
import { FakeCamera } from "./fakeCamera.ts";
import { createManualClock } from "./manualClock.ts";

export type SimulatedNightOptions = {
  readonly dataDir: string;
  readonly seed: string;
  readonly scenario: SkyScenario;
  /** When the watch begins, hours after the scenario does; 0 by default. */
  readonly fromHours?: number;
  readonly hours: number;
  readonly toneCurve: ToneCurveName;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly exposure?: Partial<ExposureSettings>;
  /** Frames that vary the exposure to learn the tone curve; 40 by default, as in the daemon. */
  readonly probeCountMax?: number;
};

export type SimulatedNight = {
  readonly nightDir: string;
  readonly frames: readonly FrameRecord[];
  /** What was true of each frame, by index. */
  readonly truths: ReadonlyMap<number, FrameTruth>;
  readonly state: WatchState;
};

/**
 * A whole night with pictures, as fast as they can be rendered: the daemon's own watch, meter,
 * governor and archive, on a clock that jumps from one deadline to the next.
 */
export async function simulateNight(options: SimulatedNightOptions): Promise<SimulatedNight> {
  const { seed, scenario, toneCurve, widthPx, heightPx, fromHours = 0 } = options;
  const startUtcMs = utcMs(DEMO_NIGHT.startUtcMs + fromHours * 3_600_000);
  const place = { ...DEMO_NIGHT, ...DEMO_FACING };
  const sky = createSky({
    seed,
    place,
    startUtcMs: DEMO_NIGHT.startUtcMs,
    durationSeconds: SKY_NIGHT.durationSeconds,
    scenario,
  });
  const memory = createRenderMemory();
  const grain = createRandom(seed).fork("grain");
  const truths = new Map<number, FrameTruth>();
  const clock = createManualClock(startUtcMs);
  const settings: ExposureSettings = { ...DEFAULT_EXPOSURE_SETTINGS, ...options.exposure };
  const camera = new FakeCamera({
    clock,
    picture: async (exposure, frameIndex) => {
      const openedUtcMs = clock.utcOf(
        monotonicMs(camera.orders.find((order) => order.frameIndex === frameIndex)!.openAtMs),
      );
      const { rgb, truth } = renderFrame({
        ...{ sky, openedUtcMs, exposure, widthPx, heightPx },
        lens: { focalLengthMm: settings.focalLengthMm },
        sensor: FULL_FRAME_SENSOR,
        toneCurve: TONE_CURVES[toneCurve],
        random: grain.fork(`frame ${frameIndex}`),
        memory,
      });
      truths.set(frameIndex, truth);
      const raw = { width: widthPx, height: heightPx, channels: 3 as const };
      return await sharp(rgb, { raw }).jpeg({ quality: 92 }).toBuffer();
    },
  });
  const nightDir = createNightFolder(options.dataDir, DEMO_NIGHT);
  const catalogue = Catalogue.create(nightDir, DEMO_NIGHT);
  let isFinished = false;
  const runner = new WatchRunner({
    camera,
    catalogue,
    clock,
    log: SILENT_LOG,
    createMeter: () =>
      new FrameMeter(
        (picture) => opticsOf({ ...settings, sensorWidthMm: 36, pixelPitchUm: 6 }, picture, null),
        null,
      ),
    onChange: () => {},
    onFrame: () => {},
    onMissing: () => {},
    onFinished: () => (isFinished = true),
  });
  clock.isAtRest = () => runner.inHandCount === 0 && camera.developingCount === 0;
  const site = { ...DEMO_NIGHT, elevationM: 0 };
  const endMs = options.hours * 3_600_000;
  const ahead = watchAhead(startUtcMs, site);
  runner.start({
    settings: {
      ...DEFAULT_WATCH_SETTINGS,
      probeCountMax: options.probeCountMax ?? 40,
      exposure: settings,
      untilMs: monotonicMs(endMs),
      dawnMs: ahead === null ? null : monotonicMs(ahead.endUtcMs - startUtcMs),
    },
    first: firstExposure(
      startUtcMs,
      site,
      { bearingDeg: DEMO_FACING.azimuthDeg, elevationDeg: DEMO_FACING.altitudeDeg },
      settings,
    ),
    nextFrameIndex: 0,
    history: [],
  });
  while (!isFinished) await clock.advanceTo(clock.monotonicMs() + 60_000);
  const frames = catalogue.frames({ fromIndex: 0, count: Number.MAX_SAFE_INTEGER });
  const { state } = runner;
  await runner.close();
  catalogue.close();
  return { nightDir, frames, truths, state };
}

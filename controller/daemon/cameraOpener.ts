import { join, resolve } from "node:path";
import { daemonWords } from "../../core/words/daemonWords.ts";
import { asNightError, NightError } from "../../core/errors.ts";
import type { CameraProfiles } from "../../core/profiles/resolve.ts";
import { timingWords, type Scheduling } from "../../core/words/timingWords.ts";
import type { Camera } from "../cameras/camera.ts";
import { openContactCamera, type ContactCameraOptions } from "../cameras/contactCamera.ts";
import { createTransport } from "../cameras/createTransport.ts";
import { openFolderCamera } from "../cameras/folder/folderCamera.ts";
import { ORIGINALS_FOLDER } from "../archive/originals.ts";
import { keepOriginals, type OriginalsOptions } from "../cameras/originals/originalsCamera.ts";
import { openPtpCamera, type PtpCameraOptions } from "../shutter/ptpCamera.ts";
import type { Transport } from "../cameras/transport.ts";
import { FaultFiles, TraceFile } from "../cameras/trace/traceFiles.ts";
import { createClock, realMs, type ClockOrigin } from "../timing/clock.ts";
import type { CabledTarget, CameraTarget, StartOptions } from "../config.ts";
import { DEMO_SCENARIO, DEMO_SCENARIO_UTC_MS } from "./demoNight.ts";
import type { Log } from "../log.ts";
import { readProfiles } from "../profiles/readProfiles.ts";
import type { ChosenRelease } from "../release/parseRelease.ts";
import type { SensorHub } from "../sensors/sensors.ts";
import { startVirtualCamera } from "../virtual-camera/process.ts";
import { DemoCamera } from "./demoCamera.ts";
import type { OpenNight } from "./openNight.ts";

export type CameraOpenerParts = {
  readonly options: StartOptions;
  readonly targets: readonly CameraTarget[];
  readonly release: ChosenRelease | null;
  readonly sensors: Pick<SensorHub, "laptopLessGnssMs">;
  readonly origin: ClockOrigin;
  /** One line for the terminal. */
  readonly print: (line: string) => void;
  /** Another owner of the release contact than the program's own. */
  readonly contact?: ContactCameraOptions["contact"];
  readonly log: Log;
};

/** What a watch leaves behind beside its frames. */
type WatchNotes = Pick<PtpCameraOptions, "notePath" | "trace" | "onProtocol">;

/** The night's cameras by their names: `camera-1` is the first that was asked for. */
export function cameraIdsOf(targets: readonly CameraTarget[]): readonly string[] {
  return targets.map((_, index) => `camera-${index + 1}`);
}

/** Opens the cameras that were asked for, each again whenever somebody takes it in hand. */
export class CameraOpener {
  readonly #parts: CameraOpenerParts;
  #demo: DemoCamera | null = null;
  /** By camera: the file of its protocol. */
  readonly #traces = new Map<string, TraceFile>();
  /** By camera: what its shutter's thread or process was last granted. */
  readonly #schedulings = new Map<string, Scheduling>();

  constructor(parts: CameraOpenerParts) {
    this.#parts = parts;
  }

  /** Starts the demo's camera, under the sky that the night began with. */
  async startVirtual({ order }: OpenNight): Promise<void> {
    const { origin, print } = this.#parts;
    const sky = {
      seed: order.seed,
      scenario: DEMO_SCENARIO,
      scenarioStartUtcMs: DEMO_SCENARIO_UTC_MS,
    };
    const start = (port: number) => startVirtualCamera({ origin, ...sky, port });
    this.#demo = new DemoCamera({ start, print });
    await this.#demo.start();
  }

  async close(): Promise<void> {
    await this.#demo?.close();
  }

  /** @throws NightError for a camera that there is not. */
  open(cameraId: string): Camera {
    return this.#open(cameraId, {});
  }

  #open(cameraId: string, note: WatchNotes): Camera {
    const { options, release, origin } = this.#parts;
    // Read again: a bench check may have written this camera's own profile since.
    const { cameras: profiles } = readProfiles(resolve(options.data));
    const body = this.#openTarget(cameraId, this.#target(cameraId), { profiles, ...note });
    const framesFolder = options["frames-folder"];
    if (framesFolder === null || release !== null) return body;
    return openFolderCamera({ body, origin, framesFolder: resolve(framesFolder) });
  }

  /**
   * A camera for the watch: with `--fetch-originals` its own files are kept in the night, too. An exposure that this
   * process leaves open is noted for the next one, whichever night that one watches.
   */
  openForWatch(cameraId: string, nightDir: string, say: Omit<OriginalsOptions, "folder">): Camera {
    const notePath = join(resolve(this.#parts.options.data), `shutter-${cameraId}.json`);
    const camera = this.#open(cameraId, { notePath, ...this.#protocolNotes(cameraId, nightDir) });
    if (!this.#parts.options["fetch-originals"]) return camera;
    return keepOriginals(camera, { folder: join(nightDir, ORIGINALS_FOLDER, cameraId), ...say });
  }

  /** Beside the night before a fault, and in a file of its own where a trace is asked for. */
  #protocolNotes(cameraId: string, nightDir: string): WatchNotes {
    const { options, log, origin } = this.#parts;
    const link = this.#linkOf(this.#target(cameraId));
    if (link === null) return {};
    const wish = options.trace === null ? undefined : { withPictures: options["trace-pictures"] };
    const trace = wish && this.#traceFile(cameraId, link);
    const faults = new FaultFiles({ nightDir, cameraId, link });
    const failed = (thrown: unknown): void =>
      log.warn("protocol.unwritten", { cameraId, sentence: asNightError(thrown).message });
    return {
      trace: wish,
      onProtocol: (why, entries) => {
        if (why === "fault") {
          faults
            .write(entries, createClock(origin).utcMs())
            .then(
              (file) => log.info("protocol.kept", { cameraId, file, count: entries.length }),
              failed,
            );
          return;
        }
        try {
          trace?.add(entries);
        } catch (thrown) {
          failed(thrown);
        }
      },
    };
  }

  /** One for each camera, through all of its watches: the first has the name as it was given. */
  #traceFile(cameraId: string, link: "ip" | "usb"): TraceFile {
    const known = this.#traces.get(cameraId);
    if (known !== undefined) return known;
    const isFirst = cameraId === cameraIdsOf(this.#parts.targets)[0];
    const given = resolve(this.#parts.options.trace ?? "");
    const path = isFirst ? given : given.replace(/(\.[^./\\]+)?$/, `-${cameraId}$1`);
    const file = new TraceFile(path, link, realMs());
    this.#traces.set(cameraId, file);
    return file;
  }

  /** What carries the protocol; null: nothing does. */
  #linkOf(target: CameraTarget): "ip" | "usb" | null {
    if (target.kind !== "contact") return target.kind === "usb" ? "usb" : "ip";
    return target.side.kind === "body" ? this.#linkOf(target.side.body) : null;
  }

  /** How a bench check reaches a camera. @throws NightError for one that no cable leads to. */
  transportOf(cameraId: string): () => Transport {
    const target = this.#target(cameraId);
    if (target.kind === "contact") {
      throw new NightError("settings.invalid", daemonWords.camera.benchNeedsCable);
    }
    const reached = this.#reached(target);
    return () => createTransport(reached);
  }

  /** How the system schedules whatever moves this camera's shutter; null: it was not opened yet. */
  schedulingOf(cameraId: string): Scheduling | null {
    return this.#schedulings.get(cameraId) ?? null;
  }

  #target(cameraId: string): CameraTarget {
    const { targets } = this.#parts;
    const target = targets[cameraIdsOf(targets).indexOf(cameraId)];
    if (!target) throw new NightError("settings.invalid", daemonWords.camera.unknown(cameraId));
    return target;
  }

  /** The virtual camera is a camera on the network like any other. */
  #reached(target: CabledTarget): Exclude<CabledTarget, { kind: "virtual" }> {
    if (target.kind !== "virtual") return target;
    const address = this.#demo?.address;
    if (!address) throw new NightError("camera.unreachable", daemonWords.virtualCamera.notUp);
    return { kind: "ip", host: address.host, port: address.port };
  }

  #openTarget(
    cameraId: string,
    target: CameraTarget,
    knowing: WatchNotes & { readonly profiles: CameraProfiles },
  ): Camera {
    const { origin } = this.#parts;
    if (target.kind !== "contact") {
      const setClock = this.#clockSetting();
      return openPtpCamera({
        ...{ cameraId, target: this.#reached(target) },
        ...{ origin, setClock, ...knowing },
        onScheduled: (scheduling) => this.#noteScheduling(cameraId, scheduling),
      });
    }
    const { release, contact } = this.#parts;
    if (!release) throw new NightError("release.gone", daemonWords.release.notThere);
    const { side } = target;
    return openContactCamera({
      ...{ cameraId, origin, release: release.target, busySeconds: release.busySeconds },
      ...(contact && { contact }),
      onScheduled: (scheduling) => this.#noteScheduling(cameraId, scheduling),
      side:
        side.kind === "folder"
          ? { ...side, framesFolder: resolve(side.framesFolder) }
          : { kind: "body", body: this.#openTarget(cameraId, side.body, knowing) },
    });
  }

  #noteScheduling(cameraId: string, scheduling: Scheduling): void {
    this.#schedulings.set(cameraId, scheduling);
    const sentence = timingWords.scheduling(scheduling);
    this.#parts.log.info("timing.scheduled", { cameraId, scheduling, sentence });
  }

  #clockSetting(): { readonly oursLessTrueMs: number } | undefined {
    const { options, sensors } = this.#parts;
    return options["set-camera-clock"]
      ? { oursLessTrueMs: sensors.laptopLessGnssMs ?? 0 }
      : undefined;
  }
}

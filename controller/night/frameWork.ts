import { NightError, asNightError } from "../../core/errors.ts";
import type { Reading } from "../../core/photometry/reading.ts";
import type { Stray } from "../../core/frames/stray.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";
import type { Catalogue } from "../archive/catalogue.ts";
import type { Camera, CameraDescription, CameraEvent } from "../cameras/camera.ts";
import type { Log } from "../log.ts";
import type { Clock } from "../timing/clock.ts";
import { contradictionOf } from "../../core/frames/proof.ts";
import { exposureInFile, readImageExif } from "../imageExif.ts";
import { FrameFileSaver, PictureStock } from "./frameFileSaver.ts";
import { FrameFinder } from "./frameFinder.ts";
import type { OpenFrames } from "./openFrames.ts";
import type { FrameMeter } from "./frameMeter.ts";
import type { BareWatchEvent } from "./watchEventOf.ts";

type Arrival = Extract<CameraEvent, { kind: "frameArrived" }>;

type FrameWorkOptions = {
  readonly camera: Camera;
  readonly catalogue: Catalogue;
  readonly frames: OpenFrames;
  readonly clock: Clock;
  readonly log: Log;
  /** Folder inside `frames/` for this camera's files; "" for the night's first camera. */
  readonly framesFolder?: string;
  /** Makes the meter once the camera has said which one it is. */
  readonly createMeter: (camera: CameraDescription) => FrameMeter;
  /** What became of a frame is an event of the watch. */
  readonly take: (event: BareWatchEvent) => void;
  /** Writes to the disk, whose refusals cost the night nothing else. */
  readonly attempt: (what: string, write: () => unknown) => void;
  /** The state has changed in a way that the page shows. */
  readonly onChange: () => void;
  /** A frame is whole on disk, or its reading has come. */
  readonly onFrame: (frame: FrameRecord) => void;
};

/** Does with a frame's picture what the watch asks for: keeps it, meters it, finds it on the card. */
export class FrameWork {
  readonly #options: FrameWorkOptions;
  readonly #saver: FrameFileSaver;
  readonly #finder: FrameFinder;
  readonly #pictures = new PictureStock();
  /** Frames whose exposure was varied to learn the tone curve, until they are metered. */
  readonly #probes = new Set<number>();
  /** Frames whose ISO only their files tell. */
  readonly #unreportedIsos = new Set<number>();
  #meter: FrameMeter | null = null;
  /** The camera's clock less ours; null: not known. */
  #clockOffsetMs: number | null = null;

  constructor(options: FrameWorkOptions) {
    this.#options = options;
    this.#saver = new FrameFileSaver(options.catalogue.nightDir, options.framesFolder);
    this.#finder = new FrameFinder({
      catalogue: options.catalogue,
      cameraId: options.camera.cameraId,
      rate: options.clock.origin.rate,
    });
  }

  /** null: the camera has not said yet which one it is. */
  get meter(): FrameMeter | null {
    return this.#meter;
  }

  /** Frames that have arrived and are still being kept or metered. */
  get inHandCount(): number {
    return this.#pictures.count;
  }

  noteCamera(description: CameraDescription): void {
    this.#clockOffsetMs = description.clockOffsetMs;
    this.#finder.noteClock(description.clockOffsetMs);
    this.#meter ??= this.#options.createMeter(description);
  }

  /** A frame's exposure is varied to learn the tone curve. */
  noteProbe(frameIndex: number): void {
    this.#probes.add(frameIndex);
  }

  /** The camera does not say at which ISO it took this frame. */
  noteUnreportedIso(frameIndex: number): void {
    this.#unreportedIsos.add(frameIndex);
  }

  noteArrival(arrival: Arrival): void {
    this.#pictures.put(arrival.frameIndex, arrival.jpeg);
    this.#saver.remember(arrival);
  }

  /**
   * Finds the frame of a picture that no transaction proves: the one that waits, unless the picture
   * itself says otherwise; else the one that it is by exposure, ISO and time together.
   *
   * @returns null: no frame's by any proof. It is kept as a stray, and the frame waits for the card.
   */
  async place(arrival: Arrival): Promise<Arrival | null> {
    const { frames, camera } = this.#options;
    await this.#learnIso(arrival.frameIndex, arrival.jpeg);
    const word = await this.#finder.wordOf(arrival.jpeg, arrival.captureDate);
    const why = this.#finder.alibi(frames.frame(arrival.frameIndex), word);
    if (why === null) return arrival;
    const isReported = this.#finder.holds(arrival.jpeg);
    const owner = isReported ? null : this.#finder.owner(word);
    if (owner === null && !isReported) await this.#keepStray(arrival, why);
    this.#awaitAgain(arrival.frameIndex, why);
    this.#options.log.warn("frame.misplaced", {
      ...{ cameraId: camera.cameraId, frameIndex: arrival.frameIndex, why },
      owner: owner?.frameIndex ?? null,
    });
    return owner === null ? null : { ...arrival, frameIndex: owner.frameIndex };
  }

  #awaitAgain(frameIndex: number, why: string): void {
    const { camera, take } = this.#options;
    if (camera.awaitAgain) camera.awaitAgain(frameIndex);
    else
      take({ kind: "frameMissing", frameIndex, why: `the picture that came is another's: ${why}` });
  }

  async #keepStray(arrival: Arrival, why: string): Promise<void> {
    const { cameraHandle, cameraName, captureDate, jpeg } = arrival;
    const card = { cameraHandle, cameraName, captureDate, bytes: jpeg.byteLength };
    try {
      this.#tellStray(await this.#saver.keepStray(this.#options, { card, why, bytes: jpeg }));
    } catch (thrown) {
      const sentence = refusal(asNightError(thrown).message);
      this.#options.take({ kind: "keepFailed", frameIndex: null, sentence });
    }
  }

  #tellStray({ card, file, why }: Stray): void {
    const sentence = `A picture on the card (${card.cameraName}) is no frame's: ${why}. It is kept as ${file.path}.`;
    this.#options.log.warn("stray.kept", { sentence, file: file.path });
    this.#options.take({ kind: "cameraRemarked", sentence });
  }

  changeFrame(frameIndex: number, changes: Partial<FrameRecord>): void {
    this.#options.attempt("archive.frame", () => this.#options.frames.change(frameIndex, changes));
  }

  /** When every frame handed over so far is on the disk or refused. */
  async settled(): Promise<void> {
    await this.#saver.settled();
  }

  /** Brings an arrived frame onto the disk. */
  async keep(frameIndex: number): Promise<void> {
    const jpeg = this.#pictures.jpegOf(frameIndex);
    if (!jpeg) return;
    const isProved = this.#saver.isProved(frameIndex);
    try {
      const file = await this.#saver.keep(frameIndex, jpeg);
      await this.#learnIso(frameIndex, jpeg);
      const doubt = await this.#doubtOf(frameIndex, jpeg, { isProved });
      this.changeFrame(frameIndex, { file, status: "kept", ...doubt });
      this.#options.take({ kind: "frameKept", frameIndex });
      this.#tell(frameIndex);
    } catch (thrown) {
      const sentence = asNightError(thrown).message;
      this.#options.take({ kind: "keepFailed", frameIndex, sentence: refusal(sentence) });
    } finally {
      this.#pictures.letGo(frameIndex);
    }
  }

  /** A file whose own exposure contradicts its frame is kept all the same, and reported. */
  async #doubtOf(
    frameIndex: number,
    jpeg: Uint8Array,
    { isProved }: { readonly isProved: boolean },
  ): Promise<Partial<FrameRecord>> {
    const { frames, log } = this.#options;
    const frame = frames.frame(frameIndex);
    const reported = await exposureInFile(jpeg);
    if (!frame?.happened || reported === null) return {};
    const why = contradictionOf(frame.happened, reported, this.#finder.slackSeconds);
    if (isProved) this.#finder.noteProved(why);
    if (why === null) return {};
    log.warn("frame.contradicted", { frameIndex, why });
    return { reasons: [...frame.reasons, why] };
  }

  /**
   * The ISO of a frame whose camera does not tell it, by the picture's own word; null: the camera
   * tells it, or the picture does not either.
   */
  async #learnIso(frameIndex: number, picture: Uint8Array): Promise<number | null> {
    if (!this.#unreportedIsos.has(frameIndex)) return null;
    const { iso } = await readImageExif(picture);
    const happened = this.#options.frames.frame(frameIndex)?.happened;
    if (iso === null || !happened) return null;
    if (happened.iso !== iso) this.changeFrame(frameIndex, { happened: { ...happened, iso } });
    return iso;
  }

  /** Meters an arrived frame for the governor. */
  async meterFrame(frameIndex: number): Promise<void> {
    const jpeg = this.#pictures.jpegOf(frameIndex);
    try {
      const isoInFile = jpeg === null ? null : await this.#learnIso(frameIndex, jpeg);
      const frame = this.#options.frames.frame(frameIndex);
      if (!jpeg || !frame?.happened || !this.#meter) {
        throw new NightError("camera.frame_missing", "the frame's exposure is not known");
      }
      const followsTheSky = !this.#probes.delete(frameIndex);
      const reading = await this.#read(this.#meter, jpeg, frame, { followsTheSky });
      const learned = isoInFile === null ? {} : { isoInFile };
      this.#options.take({ kind: "readingArrived", frameIndex, reading, ...learned });
      this.#tell(frameIndex);
    } catch (thrown) {
      const error = asNightError(thrown);
      this.#options.log.warn("frame.unmetered", { frameIndex, sentence: error.message });
      this.#options.take({ kind: "readingFailed", frameIndex, sentence: error.message });
      this.#tell(frameIndex);
    } finally {
      this.#pictures.letGo(frameIndex);
    }
  }

  /** A frame that came late is metered for the morning; the governor has long gone on without it. */
  async #meterLate(frame: FrameRecord, bytes: Uint8Array): Promise<void> {
    if (frame.happened === null || !this.#meter) return;
    try {
      const reading = await this.#read(this.#meter, bytes, frame, { followsTheSky: false });
      this.changeFrame(frame.frameIndex, { reading });
    } catch (thrown) {
      // A raw file without its preview, say: kept all the same.
      const { message: sentence } = asNightError(thrown);
      this.#options.log.warn("frame.unmetered", { frameIndex: frame.frameIndex, sentence });
    }
  }

  /** Meters a picture; its slice for the keogram goes to the catalogue. */
  async #read(
    meter: FrameMeter,
    jpeg: Uint8Array,
    { frameIndex, happened, openedUtcMs }: FrameRecord,
    { followsTheSky }: { readonly followsTheSky: boolean },
  ): Promise<Reading> {
    const about = { frameIndex, exposure: happened!, openedUtcMs, followsTheSky };
    const { reading, slice } = await meter.meter(jpeg, about);
    this.#options.attempt("archive.slice", () =>
      this.#options.catalogue.putSlice(this.#options.camera.cameraId, frameIndex, slice),
    );
    return reading;
  }

  /** The page sees a frame once its file is whole. */
  #tell(frameIndex: number): void {
    const frame = this.#options.frames.frame(frameIndex);
    if (frame?.status === "kept") this.#options.onFrame(frame);
  }

  /** Fetches what the camera took and a break or a full disk kept from arriving. */
  async reconcile(beforeFrameIndex: number): Promise<void> {
    try {
      const { recovered, strays } = await this.#saver.reconcile(this.#options, {
        beforeFrameIndex,
        clockOffsetMs: this.#clockOffsetMs,
        finder: this.#finder,
      });
      for (const stray of strays) this.#tellStray(stray);
      for (const { frame, bytes } of recovered) {
        const { frameIndex, file, status } = frame;
        const known = this.#options.frames.frame(frameIndex);
        // It came by itself while the card was being read.
        if (known?.status === "kept") continue;
        const happened = known?.happened ?? frame.happened;
        this.changeFrame(frameIndex, { file, status, happened });
        this.#options.log.info("frame.recovered", { frameIndex, file: file?.path });
        await this.#meterLate({ ...frame, happened }, bytes);
        this.#tell(frameIndex);
      }
      if (recovered.length > 0) this.#options.onChange();
    } catch (thrown) {
      this.#options.log.warn("card.unreadable", { sentence: asNightError(thrown).message });
    }
  }
}

/** What a refusing disk costs, in the watch's words. */
export function refusal(sentence: string): string {
  return `${sentence} The watch goes on; its frames stay on the card.`;
}

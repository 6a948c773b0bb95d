import { readFileSync } from "node:fs";
import { join } from "node:path";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { recoverNight } from "../../../controller/archive/recover.ts";
import type { Camera, CameraDescription, CameraEvent } from "../../../controller/cameras/camera.ts";
import { SILENT_LOG } from "../../support/silentLog.ts";
import { FrameWork } from "../../../controller/night/frameWork.ts";
import { OpenFrames } from "../../../controller/night/openFrames.ts";
import type { Exposure } from "../../../core/exposure/exposure.ts";
import type { CardEntry } from "../../../core/frames/reconcile.ts";
import { formatDateTime } from "../../../core/ptp/dateTime.ts";
import { createRandom, type Random } from "../../../core/random.ts";
import { utcMs } from "../../../core/units.ts";
import { createManualClock, type ManualClock } from "../../support/manualClock.ts";
import { makeFrame, NIGHT_START_UTC_MS } from "../../support/frameRecords.ts";
import { pictureWithExif } from "../../support/pictureWithExif.ts";

const CAMERA_ID = "made-up";
const FRAMES = 4;

/** How the camera names a frame's file. */
const FATES = ["proved", "unproved", "late", "lost", "doubled", "swapped"] as const;

type Shot = {
  /** null: taken by hand. */
  readonly frameIndex: number | null;
  readonly fate: (typeof FATES)[number];
  readonly exposure: Exposure;
  readonly openedMs: number;
  readonly card: CardEntry;
  readonly bytes: Uint8Array;
};

type Op =
  | { readonly kind: "order" | "open" | "close"; readonly shot: Shot }
  | { readonly kind: "byHand"; readonly shot: Shot }
  /** The camera names the file of `shot` while `frameIndex` waits. */
  | {
      readonly kind: "arrive";
      readonly shot: Shot;
      readonly frameIndex: number;
      readonly isProved: boolean;
    };

type Schedule = {
  readonly shots: readonly Shot[];
  readonly ops: readonly Op[];
  /** After a break every object has another handle. */
  readonly isRenumbered: boolean;
};

/** What a break throws into a process that writes or waits. */
class Killed extends Error {}

function pickOf<T>(random: Random, values: readonly T[]): T {
  return values[random.integer(values.length)]!;
}

/** A night's frames, pictures by hand, and the ways in which the camera names their files. */
async function randomSchedule(random: Random): Promise<Schedule> {
  /** A link that is lost from the first frame on: all that comes, comes from the card. */
  const isAllLost = random.uniform() < 0.25;
  const naming = pickOf(random, ["rising", "equal", "restarts"] as const);
  const shots: Shot[] = [];
  let atMs = 60_000;
  const shoot = async (frameIndex: number | null, exposure: Exposure): Promise<Shot> => {
    const n = shots.length;
    const picture = await pictureWithExif(exposure);
    // No two pictures of a camera are alike, byte for byte.
    const bytes = Uint8Array.from([...picture, n]);
    const number = naming === "rising" ? n + 1 : naming === "equal" ? 1 : (n % 3) + 1;
    const shot: Shot = {
      ...{
        frameIndex,
        exposure,
        openedMs: atMs,
        bytes,
        fate: isAllLost ? "lost" : pickOf(random, FATES),
      },
      card: {
        cameraHandle: 0x100 + n,
        cameraName: `IMG_${String(number).padStart(4, "0")}.JPG`,
        bytes: bytes.byteLength,
        captureDate: formatDateTime({ wallMs: NIGHT_START_UTC_MS + atMs, offsetMinutes: 0 }),
      },
    };
    shots.push(shot);
    atMs += exposure.exposureSeconds * 1000 + 4000 + Math.floor(random.uniform() * 3000);
    return shot;
  };
  const ops: Op[] = [];
  let held = null as Shot | null;
  for (let frameIndex = 0; frameIndex < FRAMES; frameIndex += 1) {
    if (random.uniform() < 0.3) {
      const byHand = await shoot(null, { exposureSeconds: 1 / 60, iso: 100, fNumber: 2.8 });
      ops.push({ kind: "byHand", shot: byHand });
      if (frameIndex > 0 && random.uniform() < 0.5) {
        ops.push({ kind: "arrive", shot: byHand, frameIndex: frameIndex - 1, isProved: false });
      }
    }
    const exposure = {
      ...{ exposureSeconds: pickOf(random, [2, 4, 8]), iso: pickOf(random, [800, 1600, 3200]) },
      fNumber: 2.8,
    };
    const shot = await shoot(frameIndex, exposure);
    ops.push({ kind: "order", shot }, { kind: "open", shot }, { kind: "close", shot });
    const arrive = (one: Shot, isProved: boolean, as = frameIndex): void =>
      void ops.push({ kind: "arrive", shot: one, frameIndex: as, isProved });
    if (held) arrive(held, false);
    if (held?.fate === "swapped") arrive(shot, false, held.frameIndex!);
    else if (shot.fate === "proved") arrive(shot, true);
    else if (shot.fate === "unproved") arrive(shot, false);
    else if (shot.fate === "doubled") {
      arrive(shot, true);
      arrive(shot, false);
    }
    const isHeld = shot.fate === "late" || shot.fate === "swapped";
    held = isHeld && held?.fate !== "swapped" ? shot : null;
  }
  return { shots, ops, isRenumbered: random.uniform() < 0.5 };
}

/** What a night came to; all lists are empty when every picture is where it belongs. */
type Outcome = {
  /** False: the process came to its end before that point. */
  readonly wasKilled: boolean;
  readonly lost: readonly string[];
  readonly doubled: readonly string[];
  readonly misplaced: readonly string[];
};

/**
 * Lives a seed's schedule again and again, killed at a later point each time, until it comes to its end.
 *
 * @param options.every  1: at every point from `from` on; 3: at every third.
 * @returns What went wrong, a sentence each, and how often it was killed.
 */
export async function killAtPoints(options: {
  readonly seed: number;
  readonly dataDir: string;
  readonly from: number;
  readonly every: number;
}): Promise<{ readonly problems: readonly string[]; readonly killCount: number }> {
  const schedule = await randomSchedule(createRandom(options.seed));
  const problems: string[] = [];
  for (let killCount = 0; ; killCount += 1) {
    const killAt = options.from + killCount * options.every;
    const outcome = await liveThrough(schedule, options.dataDir, killAt);
    for (const fault of ["lost", "doubled", "misplaced"] as const) {
      for (const what of outcome[fault])
        problems.push(`Killed at point ${killAt}, ${fault}: ${what}.`);
    }
    if (!outcome.wasKilled) return { problems, killCount };
  }
}

/** Lives the schedule, is killed at the `killAt`-th write or wait, starts again and reads the card. */
async function liveThrough(schedule: Schedule, dataDir: string, killAt: number): Promise<Outcome> {
  const info = {
    ...{ name: "Owners", startUtcMs: NIGHT_START_UTC_MS, latitudeDeg: 68.9, longitudeDeg: 27 },
    ...{ placeName: "Hut Seven", isRehearsal: true },
  };
  const nightDir = createNightFolder(dataDir, info);
  Catalogue.create(nightDir, info).close();
  const clock = createManualClock(NIGHT_START_UTC_MS);
  const card = new Map<number, Shot>();
  const points = new Points(killAt);
  const outlive = async (life: Promise<void>): Promise<void> => {
    try {
      await life;
    } catch (thrown) {
      if (!(thrown instanceof Killed)) throw thrown;
    }
  };
  await outlive(firstLife(schedule, { nightDir, clock, card, points }));
  const handles = schedule.isRenumbered ? renumbered(card) : card;
  // One that came through its first life may be killed while it reads the card.
  if (!points.hasKilled) await outlive(nextLife({ nightDir, clock, card: handles, points }));
  await nextLife({ nightDir, clock, card: handles, points: new Points(Infinity) });
  return { wasKilled: points.hasKilled, ...lookAt(nightDir, handles) };
}

function renumbered(card: ReadonlyMap<number, Shot>): Map<number, Shot> {
  return new Map(
    [...card.values()].map((shot, index) => {
      const cameraHandle = 7 + index;
      return [cameraHandle, { ...shot, card: { ...shot.card, cameraHandle } }];
    }),
  );
}

type World = {
  readonly nightDir: string;
  readonly clock: ManualClock;
  readonly card: Map<number, Shot>;
  readonly points: Points;
};

/** Counts the writes and waits of a process, and kills it at one of them: nothing follows then. */
class Points {
  #count = 0;
  readonly #killAt: number;

  constructor(killAt: number) {
    this.#killAt = killAt;
  }

  pass(): void {
    if (this.hasKilled) throw new Killed();
    this.#count += 1;
    if (this.hasKilled) throw new Killed();
  }

  get hasKilled(): boolean {
    return this.#count > this.#killAt;
  }

  /** Every call of these methods is a point before and a point after. */
  around<T extends object>(target: T, names: readonly (keyof T)[]): T {
    const pass = (): void => this.pass();
    return new Proxy(target, {
      get: (object, name) => {
        const value: unknown = Reflect.get(object, name, object);
        if (typeof value !== "function") return value;
        const method = value.bind(object) as (...given: readonly unknown[]) => unknown;
        if (!names.includes(name as keyof T)) return method;
        return (...given: readonly unknown[]): unknown => {
          pass();
          const result = method(...given);
          if (!(result instanceof Promise)) pass();
          return result instanceof Promise ? result.then((it: unknown) => (pass(), it)) : result;
        };
      },
    });
  }
}

function startProcess({ nightDir, clock, card, points }: World) {
  const catalogue = points.around(Catalogue.open(nightDir), ["putFrame", "putStray"]);
  const reader = {
    cameraId: CAMERA_ID,
    listCard: () => Promise.resolve([...card.values()].map((shot) => shot.card)),
    fetchFile: (handle: number) => Promise.resolve(card.get(handle)!.bytes),
  };
  const camera = points.around(reader, ["listCard", "fetchFile"]) as unknown as Camera;
  const frames = new OpenFrames(catalogue, CAMERA_ID);
  const work = new FrameWork({
    ...{ camera, catalogue, frames, clock, log: SILENT_LOG },
    createMeter: () => ({}) as never,
    take: (event) => {
      // As the watch does.
      if (event.kind === "frameMissing") frames.change(event.frameIndex, { status: "missing" });
    },
    attempt: (_what, write) => void write(),
    ...{ onChange: () => {}, onFrame: () => {} },
  });
  work.noteCamera({ clockOffsetMs: 0 } as CameraDescription);
  return { catalogue, frames, work };
}

async function firstLife({ ops }: Schedule, world: World): Promise<void> {
  const { catalogue, frames, work } = startProcess(world);
  const { clock, card, points } = world;
  try {
    for (const [at, op] of ops.entries()) {
      const { shot } = op;
      const frameIndex = shot.frameIndex ?? -1;
      await clock.advanceTo(shot.openedMs);
      points.pass();
      switch (op.kind) {
        case "order":
          frames.add(
            makeFrame({
              ...{ frameIndex, status: "ordered", ordered: shot.exposure, happened: null },
              ...{ openedUtcMs: null, file: null, reading: null },
            }),
          );
          break;
        case "byHand":
          card.set(shot.card.cameraHandle, shot);
          break;
        case "open":
          // The shutter is open: whatever becomes of this process, the camera stores the picture.
          card.set(shot.card.cameraHandle, shot);
          frames.change(frameIndex, { openedUtcMs: utcMs(NIGHT_START_UTC_MS + shot.openedMs) });
          break;
        case "close":
          frames.change(frameIndex, { happened: shot.exposure, status: "taken" });
          break;
        case "arrive":
          await arrive(work, op);
      }
      if (at === ops.length - 1) await work.settled();
    }
  } finally {
    catalogue.close();
  }
}

async function arrive(work: FrameWork, op: Extract<Op, { kind: "arrive" }>): Promise<void> {
  const { shot, frameIndex, isProved } = op;
  const { cameraName, cameraHandle, captureDate } = shot.card;
  const event: Extract<CameraEvent, { kind: "frameArrived" }> = {
    ...{ kind: "frameArrived", frameIndex, atMs: 0 as never, isOriginal: true, isProved },
    ...{ cameraName, cameraHandle, captureDate, jpeg: shot.bytes },
  };
  const placed = isProved ? event : await work.place(event);
  if (placed === null) return;
  work.noteArrival(placed);
  await work.keep(placed.frameIndex);
}

async function nextLife(world: World): Promise<void> {
  const { catalogue, work } = startProcess(world);
  try {
    await world.clock.advanceTo(3_600_000);
    await recoverNight(catalogue, { cameraId: CAMERA_ID, camera: null });
    await work.reconcile(catalogue.nextFrameIndex(CAMERA_ID));
    await work.settled();
  } finally {
    catalogue.close();
  }
}

function lookAt(nightDir: string, card: ReadonlyMap<number, Shot>): Omit<Outcome, "wasKilled"> {
  const catalogue = Catalogue.open(nightDir, { readOnly: true });
  try {
    const frames = catalogue
      .frames({ fromIndex: 0, count: Number.MAX_SAFE_INTEGER })
      .filter(({ status }) => status === "kept");
    const kept = [
      ...frames.map(({ file, frameIndex }) => ({ path: file!.path, frameIndex })),
      ...catalogue.strays().map(({ file }) => ({ path: file.path, frameIndex: null })),
    ];
    const places = new Map<number, (number | null)[]>();
    for (const { path, frameIndex } of kept) {
      const n = readFileSync(join(nightDir, path)).at(-1)!;
      places.set(n, [...(places.get(n) ?? []), frameIndex]);
    }
    const all = [...card.values()];
    const nameOf = (shot: Shot): string => {
      const whose = shot.frameIndex === null ? "by hand" : `of frame ${shot.frameIndex}`;
      return `picture ${shot.bytes.at(-1)} ${whose} (${shot.fate}) on ${String(places.get(shot.bytes.at(-1)!))}`;
    };
    const placesOf = (shot: Shot): readonly (number | null)[] =>
      places.get(shot.bytes.at(-1)!) ?? [];
    return {
      lost: all.filter((shot) => placesOf(shot).length === 0).map(nameOf),
      doubled: all.filter((shot) => placesOf(shot).length > 1).map(nameOf),
      misplaced: all
        .filter((shot) => placesOf(shot).some((at) => at !== null && at !== shot.frameIndex))
        .map(nameOf),
    };
  } finally {
    catalogue.close();
  }
}

/** Takes a night at a high rate, kills its process again and again, and counts what was lost. */
import { fork, type ChildProcess } from "node:child_process";
import { createHash } from "node:crypto";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { recoverNight, unfinishedNights } from "../../controller/archive/recover.ts";
import { createNightFolder } from "../../controller/archive/nightFolder.ts";
import type { CardEntry } from "../../core/frames/reconcile.ts";
import { createRandom, type Random } from "../../core/random.ts";
import { utcMs } from "../../core/units.ts";
import { KILLED_CAMERA, type FromCamera, type ToCamera } from "./killedNight.ts";
import { NIGHT_START_UTC_MS } from "./frameRecords.ts";

export type KillOutcome = {
  readonly kills: number;
  readonly framesTaken: number;
  readonly lost: number;
  readonly doubled: number;
  readonly damaged: number;
  /** Pictures on another frame than the one that took them. */
  readonly misplaced: number;
  readonly integrityProblems: readonly string[];
  readonly recognised: boolean;
  /** From the start of each process to the watch going again. */
  readonly resumeSeconds: readonly number[];
};

const LIFE_FRAMES_MAX = 6;
/** A frame is kept within such a time, so that any instant between card and row may be the last. */
const LAST_FRAME_MS = 40;
/** From one frame to the next. */
const SPACING_MS = 100;

type CardFileKept = { readonly entry: CardEntry; readonly bytes: Uint8Array };

/** A camera with a card: frames 100 ms apart on its own clock, files of about 60 kB. */
function createCardCamera(random: Random): {
  readonly card: CardFileKept[];
  answer(message: ToCamera): FromCamera | null;
} {
  const card: CardFileKept[] = [];
  const noise = Uint8Array.from({ length: 1 << 16 }, () => random.integer(256));
  const expose = (): CardFileKept => {
    const n = card.length;
    const openedUtcMs = NIGHT_START_UTC_MS + n * SPACING_MS;
    const bytes = Uint8Array.from(noise.subarray(0, 40_000 + random.integer(25_000)));
    new DataView(bytes.buffer).setUint32(0, n);
    const entry = {
      cameraHandle: 0x100 + n,
      cameraName: `IMG_${String((n % 9999) + 1).padStart(4, "0")}.JPG`,
      bytes: bytes.byteLength,
      captureDate: new Date(openedUtcMs).toISOString().slice(0, 21).replace(/[-:]/g, ""),
    };
    const file = { entry, bytes };
    card.push(file);
    return file;
  };
  return {
    card,
    answer: (message) => {
      switch (message.kind) {
        case "list":
          return { call: message.call, list: card.map((file) => file.entry) };
        case "fetch": {
          const file = card.find((one) => one.entry.cameraHandle === message.handle)!;
          return { call: message.call, bytes: file.bytes };
        }
        case "expose": {
          const file = expose();
          const openedUtcMs = NIGHT_START_UTC_MS + (card.length - 1) * SPACING_MS;
          return { call: message.call, entry: file.entry, openedUtcMs, bytes: file.bytes };
        }
        case "resumed":
          return null;
      }
    },
  };
}

/**
 * Each process takes up to six frames after its watch has resumed, and is killed at a random instant
 * of the next one: counted in frames, it lives as long on a slow machine as on a fast one.
 */
export async function killNight(options: {
  dataDir: string;
  kills: number;
  seed: number;
}): Promise<KillOutcome> {
  const random = createRandom(options.seed);
  const camera = createCardCamera(random.fork("card"));
  const night = {
    name: "killed",
    startUtcMs: utcMs(NIGHT_START_UTC_MS),
    latitudeDeg: 68.9,
    longitudeDeg: 27,
    placeName: "Hut Seven",
    isRehearsal: true,
  };
  const nightDir = createNightFolder(options.dataDir, night);
  Catalogue.create(nightDir, night).close();
  const resumeSeconds: number[] = [];
  for (let kill = 0; kill < options.kills; kill += 1) {
    const frames = random.integer(LIFE_FRAMES_MAX + 1);
    const life = { frames, afterMs: random.uniform() * LAST_FRAME_MS };
    resumeSeconds.push(await oneLife(nightDir, camera, life));
  }
  const recognised = unfinishedNights(options.dataDir).some((one) => one.nightDir === nightDir);
  const kept = await lookAtTheEnd(nightDir, camera.card);
  return {
    kills: options.kills,
    framesTaken: camera.card.length,
    recognised,
    resumeSeconds,
    ...kept,
  };
}

async function oneLife(
  nightDir: string,
  camera: { answer(message: ToCamera): FromCamera | null },
  life: { readonly frames: number; readonly afterMs: number },
): Promise<number> {
  const script = fileURLToPath(new URL("./killedNight.ts", import.meta.url));
  const child: ChildProcess = fork(script, [nightDir], {
    execArgv: ["--import", "tsx"],
    serialization: "advanced",
    stdio: ["ignore", "ignore", "pipe", "ipc"],
  });
  let complaint = "";
  child.stderr!.on("data", (text: Buffer) => (complaint += text.toString()));
  return new Promise((resolve, reject) => {
    let seconds: number | null = null;
    let framesLeft = life.frames;
    let killer: NodeJS.Timeout | undefined;
    const endAfter = (ms: number): void => {
      killer ??= setTimeout(() => child.kill("SIGKILL"), ms);
    };
    child.on("message", (message: ToCamera) => {
      if (message.kind === "resumed") seconds = message.seconds;
      if (message.kind === "expose") framesLeft -= 1;
      if (seconds !== null && framesLeft <= 0) endAfter(life.afterMs);
      const answer = camera.answer(message);
      // The process may be gone by now, as a laptop's may; the frame is on the card all the same.
      if (answer !== null && child.connected) child.send(answer, () => undefined);
    });
    child.on("exit", (_code, signal) => {
      if (signal === "SIGKILL" && seconds !== null) resolve(seconds);
      else reject(new Error(`the night's process ended by itself: ${complaint}`));
    });
  });
}

async function lookAtTheEnd(nightDir: string, card: readonly CardFileKept[]) {
  const catalogue = Catalogue.open(nightDir);
  await recoverNight(catalogue, {
    cameraId: KILLED_CAMERA,
    camera: {
      listCard: () => Promise.resolve(card.map((file) => file.entry)),
      fetchFile: (handle) =>
        Promise.resolve(card.find((file) => file.entry.cameraHandle === handle)!.bytes),
    },
    clockOffsetMs: 0,
  });
  const frames = catalogue
    .frames({ fromIndex: 0, count: Number.MAX_SAFE_INTEGER })
    .filter((frame) => frame.status === "kept");
  const times = new Map<number, number>();
  let damaged = 0;
  let misplaced = 0;
  for (const frame of frames) {
    const bytes = readFileSync(join(nightDir, frame.file!.path));
    const n = bytes.readUInt32BE(0);
    times.set(n, (times.get(n) ?? 0) + 1);
    const sha256 = createHash("sha256").update(bytes).digest("hex");
    // Each picture was taken when its frame opened; of some nobody has written that down.
    const takenUtcMs = NIGHT_START_UTC_MS + n * SPACING_MS;
    if (frame.openedUtcMs !== null && frame.openedUtcMs !== takenUtcMs) misplaced += 1;
    const original = card[n]?.bytes;
    if (original === undefined || !bytes.equals(original) || sha256 !== frame.file!.sha256) {
      damaged += 1;
    }
  }
  const integrityProblems = catalogue.integrityProblems();
  catalogue.close();
  return {
    lost: card.filter((_, n) => !times.has(n)).length,
    doubled: [...times.values()].filter((count) => count > 1).length,
    damaged,
    misplaced,
    integrityProblems,
  };
}

// Takes frames as an ordinary user's program would, and tells what their lengths were off by. Begun
// as root it gives every right up once its own files are read.
import { writeFileSync } from "node:fs";
import { preciseWait, type MomentWait } from "../../controller/timing/preciseWait.ts";
import { plainTimerWait } from "../support/plainTimerWait.ts";
import { askForPriority } from "../../controller/workers/threadPriority.ts";
import type { CameraTarget } from "../../controller/cameras/createTransport.ts";
import type { ClockOrigin } from "../../controller/timing/clock.ts";
import { loopCamera, measured, takeFrames, WARM_UP } from "./shutter.ts";

/** How a thread waits for the moment at which the shutter closes. */
export const WAITS = {
  "plain timer": plainTimerWait(),
  "sleep, spin 1.5 ms": preciseWait(),
  "sleep, spin 0.75 ms": preciseWait({ handOverMs: 4, spinMs: 0.75 }),
  "sleep, spin 3 ms": preciseWait({ handOverMs: 6, spinMs: 3 }),
  "spin 16 ms": preciseWait({ handOverMs: 16, spinMs: 16 }),
  "sleep from 30 ms before, spin 1.5 ms": preciseWait({ handOverMs: 30, spinMs: 1.5 }),
  "sleep by 1 ms from 30 ms before, spin 1.5 ms": steppedWait(),
} as const satisfies Readonly<Record<string, MomentWait>>;

export type WaitName = keyof typeof WAITS;

/** What the program is given beyond an ordinary user's share of the processors. */
export type Precedence =
  | { readonly kind: "none" | "realTime" }
  /** A group of processes, by the file that takes its members. */
  | { readonly kind: "group"; readonly membersFile: string };

export type ShooterOrder = {
  readonly target: CameraTarget;
  readonly origin: ClockOrigin;
  readonly precedence: Precedence;
  /** Each closes as many frames as the others, in turns. */
  readonly waits: readonly WaitName[];
  readonly framesEach: number;
};

export type ShooterResult = Readonly<Partial<Record<WaitName, readonly number[]>>>;

/** User and group of nobody. Source: Debian policy manual, 9.2.2. */
const NOBODY = 65_534;

/** A kernel's sleep again and again, so that the thread never sleeps deep. */
function steppedWait(): MomentWait {
  const cell = new Int32Array(new SharedArrayBuffer(4));
  const last = preciseWait();
  return {
    handOverMs: 30,
    blockUntil: (momentMs) => {
      while (momentMs - performance.timeOrigin - performance.now() > 2.5)
        Atomics.wait(cell, 0, 0, 1);
      last.blockUntil(momentMs);
    },
  };
}

async function shoot(order: ShooterOrder): Promise<ShooterResult> {
  const { target, origin, precedence, waits, framesEach } = order;
  if (precedence.kind === "realTime" && askForPriority() !== "realTime") {
    throw new Error("real-time scheduling was refused");
  }
  if (precedence.kind === "group") writeFileSync(precedence.membersFile, String(process.pid));
  if (process.getuid?.() === 0) {
    process.setgroups!([]);
    process.setgid!(NOBODY);
    process.setuid!(NOBODY);
  }
  const waitOf = (frameIndex: number): WaitName => waits[frameIndex % waits.length]!;
  let current: MomentWait = WAITS[waits[0]!];
  const camera = loopCamera(target, origin, {
    get handOverMs() {
      return current.handOverMs;
    },
    blockUntil: (momentMs) => current.blockUntil(momentMs),
  });
  const frameCount = WARM_UP + waits.length * framesEach;
  const jpegs = await takeFrames(camera, frameCount, (index) => (current = WAITS[waitOf(index)]));
  await camera.close();
  const { errorsMs } = await measured(jpegs);
  return Object.fromEntries(
    waits.map((name) => [name, errorsMs.filter((_, index) => waitOf(index + WARM_UP) === name)]),
  );
}

const [, , order] = process.argv;
process.stdout.write(`${JSON.stringify(await shoot(JSON.parse(order!) as ShooterOrder))}\n`);

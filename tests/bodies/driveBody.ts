import { preciseWait } from "../../controller/timing/preciseWait.ts";
import { createTransport } from "../../controller/cameras/createTransport.ts";
import { STANDARD_CONTROLS } from "../../controller/cameras/standardControls.ts";
import type { CameraDescription, CameraEvent } from "../../controller/cameras/camera.ts";
import { readProfiles } from "../../controller/profiles/readProfiles.ts";
import type { FromShutter } from "../../controller/shutter/shutterMessages.ts";
import { ShutterFlag } from "../../controller/shutter/shutterFlag.ts";
import { TimingLoop } from "../../controller/shutter/timingLoop.ts";
import { startOrigin } from "../../controller/timing/clock.ts";
import { monotonicMs, utcMs } from "../../core/units.ts";
import { traitsOf, type Body } from "./body.ts";
import { faultsOf } from "./faults.ts";
import { Responder } from "./responder.ts";

/** Below two seconds a ladder serves where it can, from there on bulb. */
const SECONDS = [0.25, 2.1, 0.3, 2.1, 0.25, 0.3];
const FRAMES = SECONDS.length;
const CONNECT_ATTEMPTS = 6;
const FRAME_MS_MAX = 30_000;
/** No profiles of a person's own. */
const NOWHERE = "/nonexistent";

/** What the camera's side of the night came to, without the night around it. */
export type Driven = {
  readonly description: CameraDescription | null;
  readonly opened: number;
  readonly arrived: number;
  readonly missing: number;
  /** What was said on the way, each once. */
  readonly sentences: readonly string[];
  readonly exposures: readonly string[];
  readonly faults: readonly string[];
};

/**
 * Six frames by the timing loop alone: which body is met and which is not, in the time of its
 * exposures. Times alternate between the camera's own timer and bulb.
 */
export async function driveBody(
  body: Pick<Body, "switches" | "outcome">,
  onEvent: (event: CameraEvent) => void = () => undefined,
): Promise<Driven> {
  const responder = await Responder.start(traitsOf(body));
  const events = new EventQueue();
  const loop = loopOn(responder.port, (message) => {
    if (message.kind === "event") events.push(message.event);
  });
  const running = loop.run();
  const seen = { opened: 0, arrived: 0, missing: 0, sentences: new Set<string>() };
  const note = (event: CameraEvent): void => {
    onEvent(event);
    if (event.kind === "shutterOpened") seen.opened += 1;
    if (event.kind === "frameArrived") seen.arrived += 1;
    if (event.kind === "frameMissing") {
      seen.missing += 1;
      seen.sentences.add(event.why);
    }
    if (event.kind === "failed" || event.kind === "remarked") seen.sentences.add(event.sentence);
  };
  events.onEvent = note;
  try {
    const description = await connect(loop, { events, responder });
    for (const remark of description?.remarks ?? []) seen.sentences.add(remark);
    const canExpose = description?.hasBulb || description?.exposureLadderSeconds.length;
    if (canExpose) {
      await exposeAll(loop, { events, responder });
      // A picture that was given up may come all the same: on a busy machine a body files late.
      const isAllThere = (): boolean =>
        events.haveSettled(FRAMES) && seen.arrived >= body.outcome.pictures;
      while (!isAllThere() && (await events.until(() => true)) !== null);
    }
    return {
      description,
      ...seen,
      sentences: [...seen.sentences],
      exposures: exposuresOf(responder),
      faults: faultsOf(responder.camera.diary),
    };
  } finally {
    loop.end({ closeNow: true });
    await running;
    await responder.stop();
  }
}

function loopOn(port: number, tell: (message: FromShutter) => void): TimingLoop {
  return new TimingLoop({
    cameraId: "body",
    origin: startOrigin({ rate: 1, startUtcMs: utcMs(Date.now()) }),
    controls: STANDARD_CONTROLS,
    profiles: readProfiles(NOWHERE).cameras,
    flag: new ShutterFlag(ShutterFlag.createBuffer()),
    wait: preciseWait(),
    createTransport: () => createTransport({ kind: "ip", host: "127.0.0.1", port }),
    tell,
  });
}

type Met = { readonly events: EventQueue; readonly responder: Responder };

async function connect(loop: TimingLoop, met: Met): Promise<CameraDescription | null> {
  const { events, responder } = met;
  for (let attempt = 0; attempt < CONNECT_ATTEMPTS; attempt++) {
    loop.take({ kind: "connect" });
    const reported = await events.until(({ kind }) => kind === "connected" || kind === "failed");
    if (reported?.kind === "connected") return reported.description;
    await responder.rearmed();
  }
  return null;
}

async function exposeAll(loop: TimingLoop, met: Met): Promise<void> {
  for (let frameIndex = 0; frameIndex < FRAMES; frameIndex++) {
    const exposureSeconds = SECONDS[frameIndex]!;
    const iso = frameIndex < 3 ? 800 : 1600;
    const exposure = { exposureSeconds, iso, fNumber: 2.8 };
    loop.take({ kind: "expose", order: { frameIndex, exposure, openAtMs: monotonicMs(0) } });
    const reported = await met.events.until(({ kind }) => kind === "ready" || kind === "failed");
    if (reported?.kind === "failed" && reported.gone && !(await connect(loop, met))) return;
  }
}

function exposuresOf({ camera: { diary } }: Responder): readonly string[] {
  return diary.openings.map(({ way, openedMs, closedMs, setSeconds, iso }) => {
    const openFor = closedMs === null ? "open" : ((closedMs - openedMs) / 1000).toFixed(2);
    return `${way} ${setSeconds?.toFixed(2) ?? "bulb"}→${openFor} ISO ${Math.round(iso)}`;
  });
}

/** Events as they come, for one reader at a time. */
class EventQueue {
  onEvent: (event: CameraEvent) => void = () => undefined;
  readonly #waiting: CameraEvent[] = [];
  readonly #all: CameraEvent[] = [];
  #wake: (() => void) | null = null;

  /** Every frame arrived, is missing, or failed without ever opening the shutter. */
  haveSettled(frames: number): boolean {
    const framesWith = (...kinds: readonly CameraEvent["kind"][]): ReadonlySet<number | null> =>
      new Set(
        this.#all.flatMap((event) =>
          kinds.includes(event.kind) && "frameIndex" in event ? [event.frameIndex] : [],
        ),
      );
    const ended = framesWith("frameArrived", "frameMissing");
    const opened = framesWith("shutterOpened");
    const failed = framesWith("failed");
    return Array.from({ length: frames }, (_, frame) => frame).every(
      (frame) => ended.has(frame) || (failed.has(frame) && !opened.has(frame)),
    );
  }

  push(event: CameraEvent): void {
    this.onEvent(event);
    this.#all.push(event);
    this.#waiting.push(event);
    this.#wake?.();
  }

  /** The next event of this kind; null: nothing came for too long. */
  async until(isWanted: (event: CameraEvent) => boolean): Promise<CameraEvent | null> {
    const untilMs = performance.now() + FRAME_MS_MAX;
    for (;;) {
      for (let event = this.#waiting.shift(); event; event = this.#waiting.shift()) {
        if (isWanted(event)) return event;
      }
      const leftMs = untilMs - performance.now();
      if (leftMs <= 0) return null;
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, leftMs);
        this.#wake = () => {
          clearTimeout(timer);
          resolve();
        };
      });
    }
  }
}

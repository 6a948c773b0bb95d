// A picture thread: renders exposed frames from the simulated sky and makes files of them.
import { constants, setPriority } from "node:os";
import { parentPort, workerData } from "node:worker_threads";
import { createRandom } from "../../core/random.ts";
import { FULL_FRAME_SENSOR, renderFrame, TONE_CURVES } from "../../core/simulation/render.ts";
import { createRenderMemory } from "../../core/simulation/renderMemory.ts";
import { createSky } from "../../core/simulation/sky.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import type { UtcMs } from "../../core/units.ts";
import { ownedBytes, postOwned, type OwnedBytes } from "../workers/ownedBytes.ts";
import { encodePicture } from "./encodePicture.ts";
import type { Picture, PictureOrder } from "./picture.ts";
import type { SimulatedView } from "./simulatedView.ts";

/** What the camera asks of this thread. */
export type ToPictures = { readonly requestId: number; readonly order: PictureOrder };

/** What it answers. */
export type FromPictures =
  | { readonly kind: "ready" }
  | { readonly kind: "developed"; readonly requestId: number; readonly picture: Picture };

const view = workerData as SimulatedView;
const port = parentPort!;
const memory = createRenderMemory();
const grain = createRandom(view.seed).fork("grain");
const sky = createSky({
  seed: view.seed,
  place: view.place,
  startUtcMs: view.scenarioStartUtcMs,
  durationSeconds: view.scenarioSeconds,
  scenario: view.scenario,
});

// Pictures give way to the protocol, and to the host where it runs beside us. On Linux this
// concerns the calling thread alone; elsewhere it would slow the answers down.
if (process.platform === "linux") setPriority(constants.priority.PRIORITY_BELOW_NORMAL);

function render(exposure: Exposure, openedUtcMs: UtcMs, frameName: string) {
  const { widthPx, heightPx, lens, toneCurve } = view;
  const { rgb } = renderFrame({
    ...{ sky, openedUtcMs, exposure, widthPx, heightPx, lens },
    sensor: FULL_FRAME_SENSOR,
    toneCurve: TONE_CURVES[toneCurve],
    random: grain.fork(frameName),
    memory,
  });
  return { rgb, widthPx, heightPx };
}

function post(message: FromPictures, handedOver?: readonly OwnedBytes[]): void {
  postOwned(port, message, handedOver);
}

// A picture that cannot be made or handed over ends the thread, and so the camera, aloud: a camera
// that goes on without pictures looks like a night of missing frames.
async function develop({ requestId, order }: ToPictures): Promise<void> {
  const pixels = render(order.exposure, order.openedUtcMs, `frame ${order.frameIndex}`);
  const made = await encodePicture(pixels, order, {
    identity: view.identity,
    focalLengthMm: view.lens.focalLengthMm,
    sensorWidthMm: FULL_FRAME_SENSOR.widthMm,
  });
  const jpeg = ownedBytes(made.jpeg);
  const thumbnail = ownedBytes(made.thumbnail);
  post({ kind: "developed", requestId, picture: { ...made, jpeg, thumbnail } }, [jpeg, thumbnail]);
}

port.on("message", (message: ToPictures) => void develop(message));
// The geometry of the frame is worked out once, before the night rather than in its first frame.
render({ exposureSeconds: 0.001, iso: 100, fNumber: 2.8 }, view.scenarioStartUtcMs, "test frame");
post({ kind: "ready" });

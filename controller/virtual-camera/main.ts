import { asNightError, NightError } from "../../core/errors.ts";
import { createRandom, type Random } from "../../core/random.ts";
import { createClock } from "../timing/clock.ts";
import { runCommand } from "../commandLine.ts";
import { endingSignals } from "../endingSignals.ts";
import { packageVersion } from "../ownFiles.ts";
import { askForPriority } from "../workers/threadPriority.ts";
import { CardFolder } from "./cardFolder.ts";
import { IpServer } from "./ipServer.ts";
import { DEFAULT_IP_TIMING } from "./ipTiming.ts";
import {
  originOf,
  settingsOf,
  viewOf,
  VIRTUAL_CAMERA_COMMAND,
  type VirtualCameraOptions,
} from "./options.ts";
import { SimulatedPictures } from "./simulatedPictures.ts";
import type { SimulatedView } from "./simulatedView.ts";
import { VirtualCamera, type CameraIdentity } from "./virtualCamera.ts";

await runCommand(VIRTUAL_CAMERA_COMMAND, run);

async function run(options: VirtualCameraOptions): Promise<void> {
  // The reader of our lines may be gone; the camera goes on all the same.
  process.stderr.on("error", () => {});
  const report = (line: string): void => {
    if (options.verbose) process.stderr.write(`virtual camera: ${line}\n`);
  };
  let stop = (why: string): void => report(why);
  const { server, close } = buildCamera(options, { report, stop: (why) => stop(why) });
  // A real camera has a processor to itself.
  askForPriority();
  try {
    const listening = await server.listen(options.host, options.port);
    process.stdout.write(`${JSON.stringify({ listening })}\n`);
  } catch (thrown) {
    await close();
    throw thrown;
  }
  stop = endOnce(report, close);
  stopFromOutside(stop, options["exit-with-parent"]);
}

/** The camera, its card, its pictures and its network socket. */
function buildCamera(
  options: VirtualCameraOptions,
  handlers: { readonly report: (line: string) => void; readonly stop: (why: string) => void },
): { readonly server: IpServer; readonly close: () => Promise<void> } {
  const { report, stop } = handlers;
  const settings = settingsOf(options);
  const clock = createClock(originOf(options));
  const random = createRandom(options.seed);
  const identity = identityOf(random, options);
  const card = makeCard(options["card-dir"]);
  const view: SimulatedView = { ...viewOf(options, clock.origin), identity };
  const pictures = new SimulatedPictures(view, (error) => {
    process.stderr.write(`error: no more pictures: ${error.message}\n`);
    process.exitCode = 1;
    stop("no more pictures");
  });
  const camera = new VirtualCamera({
    ...{ identity, settings, clock, random, pictures, card, report },
    onOff: stop,
    onLinkFault: () => server.dropHost(),
  });
  const server = new IpServer({
    camera,
    guid: guidOf(random),
    friendlyName: `${identity.model} ${identity.serialNumber}`,
    timing: options["no-probe"] ? { ...DEFAULT_IP_TIMING, probeMs: null } : DEFAULT_IP_TIMING,
    report,
  });
  const close = async (): Promise<void> => {
    await server.close();
    await camera.close();
  };
  return { server, close };
}

/** Ends on a signal and, if asked, with the program that holds our standard input. */
function stopFromOutside(stop: (why: string) => void, isWithParent: boolean): void {
  for (const signal of endingSignals()) {
    process.on(signal, () => stop(`ended by ${signal}`));
  }
  if (!isWithParent) return;
  process.stdin.on("error", () => stop("standard input broke"));
  process.stdin.on("end", () => stop("standard input closed"));
  process.stdin.resume();
}

/** Everything is put away once, in order; the process then has nothing left to do. */
function endOnce(report: (line: string) => void, close: () => Promise<void>) {
  let isEnding = false;
  return (why: string): void => {
    if (isEnding) return;
    isEnding = true;
    report(why);
    close().then(
      () => process.exit(),
      (thrown: unknown) => {
        process.stderr.write(`error: ${asNightError(thrown).message}\n`);
        process.exit(1);
      },
    );
  };
}

function makeCard(parent: string | null): CardFolder {
  try {
    return parent === null ? new CardFolder() : new CardFolder(parent);
  } catch (thrown) {
    throw new NightError(
      "archive.read_only",
      `the card's folder cannot be made in ${parent ?? "the temporary folder"}; choose another with --card-dir`,
      {},
      { cause: thrown },
    );
  }
}

/** Two renderings are two models, so that a profile may know the one and leave the other hidden. */
function identityOf(random: Random, options: VirtualCameraOptions): CameraIdentity {
  const serial = random.fork("identity").integer(2 ** 32);
  return {
    manufacturer: "Nattvakt",
    model: `Virtual camera, ${options["tone-curve"]}`,
    deviceVersion: packageVersion(),
    serialNumber: serial.toString(16).padStart(8, "0"),
  };
}

function guidOf(random: Random): Uint8Array {
  const stream = random.fork("guid");
  return Uint8Array.from({ length: 16 }, () => stream.integer(256));
}

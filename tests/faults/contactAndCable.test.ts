import { readdirSync, statSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, it, onTestFinished } from "vitest";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { originalsOf } from "../../controller/archive/originals.ts";
import { transactionId } from "../../core/ptp/ids.ts";
import { contactMovements } from "../support/fileRelease.ts";
import { startProgram, type Program } from "../support/program.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";
import { startTestCamera, type TestCamera } from "../support/testCamera.ts";
import { thumbnailDataDir } from "../support/thumbnailDataDir.ts";

const FRAMES = 3;
const PICTURE = { pictureSize: { widthPx: 480, heightPx: 320 } };
const LOOK_MS = 10;

let daemon: Program | null = null;
afterEach(() => void daemon?.child.kill("SIGKILL"));

/** The camera's socket for a release cable: its shutter is open while the contact is closed. */
function wire({ camera }: TestCamera, log: string): void {
  let seen = 0;
  const timer = setInterval(() => {
    const movements = contactMovements(log).slice(seen);
    seen += movements.length;
    for (const { word } of movements) {
      if (word !== "closed") camera.capture.closeNow();
      else if (!camera.capture.isBusy()) {
        camera.capture.open({
          ...{ kind: "open", transactionId: transactionId(0), sessionNumber: 0, isManual: true },
          exposure: camera.properties.exposure(),
        });
      }
    }
  }, LOOK_MS);
  onTestFinished(() => clearInterval(timer));
}

it("a watch released by a contact makes its settings and fetches every file over the cable", async () => {
  const device = await startTestCamera({ rate: 1, busySeconds: 0.2, ...PICTURE });
  onTestFinished(() => device.close());
  const log = join(temporaryFolder(), "line");
  wire(device, log);
  const dataDir = thumbnailDataDir();
  daemon = startProgram("tests/support/contactDaemon.ts", [
    ...["--release", `serial:${log}`, "--camera", `ip:127.0.0.1:${device.port}`],
    ...["--fetch-originals", "--frames", String(FRAMES), "--max-exposure-seconds", "2.5"],
    ...["--data", dataDir, "--port", "0"],
  ]);
  expect(await daemon.ended, daemon.printed()).toBe(0);

  const [night] = readdirSync(join(dataDir, "nights"));
  const nightDir = join(dataDir, "nights", night!);
  const catalogue = Catalogue.open(nightDir, { readOnly: true });
  const frames = catalogue.frames({ fromIndex: 0, count: 100 });
  catalogue.close();
  expect(frames.map(({ status }) => status)).toEqual(Array(FRAMES).fill("kept"));
  expect(frames.every(({ reading }) => reading !== null)).toBe(true);
  // The contact opened every shutter; the ISO that was ordered is the one the camera then stood at.
  const pressed = contactMovements(log).filter(({ word }) => word === "closed");
  expect(pressed).toHaveLength(FRAMES);
  expect(contactMovements(log).at(-1)?.word).toBe("open");
  const taken = device.pictures.orders.map(({ exposure }) => exposure.iso);
  expect(taken).toEqual(frames.map(({ ordered }) => ordered.iso));
  expect(new Set(taken).size).toBeGreaterThan(1);

  const originals = originalsOf(nightDir);
  expect(originals.map(({ frameIndex }) => frameIndex).sort()).toEqual([0, 1, 2]);
  for (const { frameIndex, file } of originals) {
    expect(file.cameraName).toBe(frames[frameIndex]!.file!.cameraName);
    expect(statSync(join(nightDir, file.path)).size).toBe(file.bytes);
    expect(file.bytes).toBeGreaterThan(frames[frameIndex]!.file!.bytes);
  }
}, 120_000);

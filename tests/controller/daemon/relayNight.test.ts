import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, it, onTestFinished, vi } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { guardsKey } from "../../../controller/archive/stateKeys.ts";
import type { GuardNotice } from "../../../core/watch/guardNotice.ts";
import { startBodyOnContact } from "../../support/bodyOnContact.ts";
import { contactMovements } from "../../support/fileRelease.ts";
import { startCommand } from "../../support/program.ts";
import { openPluggableLine } from "../../support/pseudoTerminal.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const ROOT = new URL("../../../", import.meta.url);
const ISO = 1600;
const EXPOSURE_SECONDS = 5;
/** Of a press, on a busy machine. */
const SLACK_MS = 500;
const PATIENCE = { timeout: 90_000, interval: 20 };
const SAY_EVERY_MS = 1_000;
/** By the saturation curve over ice, air as damp as this is over-saturated for frost at its own temperature. */
const FOG = "climate temperatureC=-10 humidityPercent=96";
const DRY_COLD = "climate temperatureC=-22 humidityPercent=40";

it("a HID relay works the shutter of a night and opens when its owner is killed, and a climate sensor's frost and cold are noted", async () => {
  const log = join(temporaryFolder(), "relay");
  const framesFolder = temporaryFolder();
  const data = temporaryFolder();
  const movements = () => contactMovements(log);
  const body = startBodyOnContact({ movements, folder: framesFolder, iso: ISO });
  onTestFinished(() => body.stop());
  const line = await openPluggableLine();
  let climate = FOG;
  const timer = setInterval(() => line.write(`${climate}\n`), SAY_EVERY_MS);
  onTestFinished(() => clearInterval(timer));

  const plugged = new URL("tests/support/withRelay.mjs", ROOT).href;
  const daemon = startCommand(
    process.execPath,
    [
      ...["--import", "tsx", "controller/main.ts", "--release", "hid"],
      ...["--frames-folder", framesFolder, "--fixed-iso", String(ISO), "--climate", line.path],
      // Brighter than the body's pictures ever are, so that the longest exposure is asked for.
      ...["--max-exposure-seconds", String(EXPOSURE_SECONDS), "--target-stops", "2"],
      ...["--data", data, "--port", "0"],
    ],
    {
      cwd: ROOT.pathname,
      env: {
        ...process.env,
        NODE_OPTIONS: `${process.env["NODE_OPTIONS"] ?? ""} --import ${plugged}`,
        RELAY_LOG: log,
      },
    },
  );
  onTestFinished(() => void daemon.child.kill("SIGKILL"));

  /** The next closing from now on, by its place among the movements. */
  const closesAgain = async (): Promise<number> => {
    const before = movements().length;
    return await vi.waitFor(() => {
      const at = movements().findIndex(({ word }, index) => index >= before && word === "closed");
      if (at < 0) throw new Error(`the relay stays open:\n${daemon.printed()}`);
      return at;
    }, PATIENCE);
  };
  const opensAfter = async (at: number): Promise<number> => {
    await vi.waitFor(() => expect(movements().length).toBeGreaterThan(at + 1), PATIENCE);
    expect(movements()[at + 1]!.word).toBe("open");
    return movements()[at + 1]!.atMs - movements()[at]!.atMs;
  };

  await daemon.prints(/climate sensor on .* is there/);
  await vi.waitFor(() => expect(body.files().length).toBeGreaterThan(1), PATIENCE);

  // The contact's owner dies in mid-exposure: the relay would stay closed for ever.
  const cutOff = await closesAgain();
  const owner = ownerOf(log, cutOff);
  process.kill(owner, "SIGKILL");
  expect(await opensAfter(cutOff)).toBeLessThan(EXPOSURE_SECONDS * 1000 - SLACK_MS);
  expect(ownerOf(log, cutOff + 1)).not.toBe(owner);

  climate = DRY_COLD;
  const next = await closesAgain();
  expect(overBy(await opensAfter(next))).toBeLessThan(SLACK_MS);
  line.unplug();
  await daemon.prints(/climate sensor on .* is gone; the night goes on without it/);

  // An ordered end in mid-exposure closes the shutter in order, and the frame is kept as long as it was.
  const last = await closesAgain();
  await vi.waitFor(
    () => expect(Date.now()).toBeGreaterThan(movements()[last]!.atMs + 1_000),
    PATIENCE,
  );
  daemon.child.kill("SIGTERM");
  expect(await daemon.ended, daemon.printed()).toBe(0);
  const lastMs = await opensAfter(last);
  expect(movements().at(-1)!.word).toBe("open");

  const [night] = readdirSync(join(data, "nights"));
  const catalogue = Catalogue.open(join(data, "nights", night!), { readOnly: true });
  const frames = catalogue.frames({ fromIndex: 0, count: 100 });
  const notices = catalogue.getState<readonly GuardNotice[]>(guardsKey(frames[0]!.cameraId)) ?? [];
  catalogue.close();
  const { status, happened } = frames.at(-1)!;
  expect(status).toBe("kept");
  expect(Math.abs(happened!.exposureSeconds * 1000 - lastMs)).toBeLessThan(SLACK_MS);
  expect(frames.filter(({ status }) => status === "kept").length).toBeGreaterThan(3);
  const said = (guard: string) => notices.find((one) => one.guard === guard)?.sentence;
  expect(said("dew")).toMatch(/^Air at −10 °C with 96 % humidity: .* takes frost/);
  expect(said("cold")).toMatch(/^−22 °C at the camera/);
}, 300_000);

function overBy(openMs: number): number {
  return Math.abs(openMs - EXPOSURE_SECONDS * 1000);
}

function ownerOf(log: string, at: number): number {
  return Number(readFileSync(log, "utf8").trim().split("\n")[at]!.split(" ")[2]);
}

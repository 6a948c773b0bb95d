import { readdirSync } from "node:fs";
import { join } from "node:path";
import { expect, it, onTestFinished } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { createRandom } from "../../../core/random.ts";
import { startProgram } from "../../support/program.ts";
import { openPluggableLine } from "../../support/pseudoTerminal.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";
import { startTestCamera } from "../../support/testCamera.ts";

const SAY_EVERY_MS = 100;
/** A moonlit sky, for which 3 s at a middling ISO are enough. */
const SKY_CD_M2 = 3e-3;
/** The meter's own scale, which the night has to find out. */
const VALUE_PER_CD_M2 = 400;
/** Values of a living meter never stand quite still. */
const RIPPLE = 0.01;
/** Above two seconds the shutter is held open, and can be closed early. */
const EXPOSURE_SECONDS_MAX = 3;

it("a light meter closes the shutter, may be pulled and plugged in, and the frames say so", async () => {
  const device = await startTestCamera({ rate: 1, busySeconds: 0.2 });
  onTestFinished(() => device.close());
  device.pictures.luminanceCdM2 = SKY_CD_M2;
  const line = await openPluggableLine();
  const random = createRandom(1);
  const timer = setInterval(() => {
    const value = SKY_CD_M2 * VALUE_PER_CD_M2 * (1 + RIPPLE * random.uniform());
    line.write(`light value=${value.toFixed(4)}\n`);
  }, SAY_EVERY_MS);
  onTestFinished(() => clearInterval(timer));

  const data = temporaryFolder();
  const daemon = startProgram("controller/main.ts", [
    ...["--camera", `ip:127.0.0.1:${device.port}`, "--light-meter", line.path, "--port", "0"],
    ...["--data", data, "--max-exposure-seconds", String(EXPOSURE_SECONDS_MAX)],
  ]);
  onTestFinished(() => void daemon.child.kill("SIGKILL"));
  const framesTaken = async (more: number): Promise<void> => {
    const wanted = device.pictures.orders.length + more;
    await expect
      .poll(() => device.pictures.orders.length, { timeout: 60_000 })
      .toBeGreaterThanOrEqual(wanted);
  };

  await daemon.prints(/light meter on .* is there/);
  await framesTaken(5);
  line.unplug();
  await daemon.prints(/light meter on .* is gone; the night goes on without it/);
  await framesTaken(2);
  await line.plug();
  await daemon.prints(/is gone[^]*light meter on .* is there/);
  await framesTaken(2);
  daemon.child.kill("SIGTERM");
  expect(await daemon.ended, daemon.printed()).toBe(0);

  const [night] = readdirSync(join(data, "nights"));
  const catalogue = Catalogue.open(join(data, "nights", night!), { readOnly: true });
  const frames = catalogue.frames({ fromIndex: 0, count: 100 });
  catalogue.close();
  const words = frames.map(({ reasons }) => reasons.find((one) => one.startsWith("light meter")));
  const silentAt = words.indexOf("light meter ignored: it has gone silent");
  expect(words.slice(0, silentAt)).toContain("light meter followed");
  expect(words.at(-1)).toBeDefined();
  expect(words.at(-1)).not.toMatch(/silent/);
  // Ordered with room for a sky that darkens, and closed when the meter had seen enough.
  const leftOut = frames
    .filter(({ reasons }) => reasons.includes("light meter followed"))
    .map(({ ordered, happened }) => ordered.exposureSeconds - (happened?.exposureSeconds ?? 0));
  expect(Math.max(...leftOut)).toBeGreaterThan(0.1);
}, 300_000);

import { readdirSync } from "node:fs";
import { join } from "node:path";
import { expect, it, onTestFinished } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { nightInfoOf } from "../../../controller/archive/nightFolder.ts";
import { checksumOf } from "../../../core/sensors/nmea.ts";
import { startProgram } from "../../support/program.ts";
import { openPluggableLine } from "../../support/pseudoTerminal.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";
import { startTestCamera } from "../../support/testCamera.ts";

const SAY_EVERY_MS = 200;

function sentence(body: string): string {
  return `$${body}*${checksumOf(body).toString(16).padStart(2, "0")}\r\n`;
}

it("a night begins at the place that a receiver tells, goes on when it is pulled, and hears it again", async () => {
  const device = await startTestCamera({ rate: 1, busySeconds: 0.2 });
  onTestFinished(() => device.close());
  const line = await openPluggableLine();
  const timer = setInterval(() => {
    line.write(sentence("GNGGA,180000.00,6854.000,N,02700.000,E,1,08,0.9,212.4,M,20.0,M,,"));
    line.write(sentence("GNRMC,180000.00,A,6854.000,N,02700.000,E,0,0,240327,,,A"));
  }, SAY_EVERY_MS);
  onTestFinished(() => clearInterval(timer));

  const data = temporaryFolder();
  const daemon = startProgram("controller/main.ts", [
    ...["--camera", `ip:127.0.0.1:${device.port}`, "--gnss", line.path, "--port", "0"],
    ...["--data", data, "--max-exposure-seconds", "1"],
  ]);
  onTestFinished(() => void daemon.child.kill("SIGKILL"));
  await daemon.prints(/GNSS: 68\.9000, 27\.0000/);
  await daemon.prints(/#0000/);
  line.unplug();
  await daemon.prints(/GNSS receiver on .* is gone; the night goes on without it/);
  const frames = device.pictures.orders.length;
  await expect
    .poll(() => device.pictures.orders.length, { timeout: 30_000 })
    .toBeGreaterThan(frames + 1);
  await line.plug();
  await daemon.prints(/is gone[^]*GNSS receiver on .* is there/);
  daemon.child.kill("SIGTERM");
  expect(await daemon.ended, daemon.printed()).toBe(0);

  const [night] = readdirSync(join(data, "nights"));
  const catalogue = Catalogue.open(join(data, "nights", night!), { readOnly: true });
  expect(nightInfoOf(catalogue)).toMatchObject({ latitudeDeg: 68.9, longitudeDeg: 27 });
  catalogue.close();
}, 300_000);

import { readdirSync } from "node:fs";
import { join } from "node:path";
import { expect, it, onTestFinished } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { startProgram } from "../../support/program.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";
import { startTestCamera } from "../../support/testCamera.ts";

it("a watch that was stopped and started again ends in order all the same, every frame kept", async () => {
  const device = await startTestCamera({ rate: 1, busySeconds: 0.2 });
  onTestFinished(() => device.close());
  const data = temporaryFolder();
  const daemon = startProgram("controller/main.ts", [
    ...["--camera", `ip:127.0.0.1:${device.port}`, "--port", "0", "--data", data],
    ...["--max-exposure-seconds", "1"],
  ]);
  onTestFinished(() => void daemon.child.kill("SIGKILL"));
  const [, address] = await daemon.prints(/The page: (http:\S+)/);
  const order = (kind: string) =>
    fetch(`${address}api/watches/camera-1/${kind}`, { method: "POST" }).then(({ ok }) => ok);

  await daemon.prints(/#0001/);
  expect(await order("stop")).toBe(true);
  await daemon.prints(/The watch was stopped by hand\.\n/);
  const takenBefore = device.pictures.orders.length;
  expect(await order("start")).toBe(true);
  await daemon.prints(new RegExp(`#${String(takenBefore + 1).padStart(4, "0")}`));
  daemon.child.kill("SIGTERM");
  expect(await daemon.ended, daemon.printed()).toBe(0);

  const [night] = readdirSync(join(data, "nights"));
  const catalogue = Catalogue.open(join(data, "nights", night!), { readOnly: true });
  const frames = catalogue.frames({ fromIndex: 0, count: 1000 });
  catalogue.close();
  expect(frames.length).toBeGreaterThan(takenBefore + 1);
  expect(frames.filter(({ status }) => status !== "kept")).toEqual([]);
}, 300_000);

import { existsSync, readdirSync, readFileSync, statSync } from "node:fs";
import { join } from "node:path";
import { afterEach, describe, expect, it } from "vitest";
import { sha256Of } from "../../controller/archive/frameFiles.ts";
import { PtpSession } from "../../controller/cameras/ptpSession.ts";
import { createTransport } from "../../controller/cameras/createTransport.ts";
import { FORMATS } from "../../core/ptp/formats.ts";
import { startProgram, type Program } from "../support/program.ts";
import { startSlowLink } from "../support/slowLink.ts";
import { startTestCamera } from "../support/testCamera.ts";
import { thumbnailDataDir } from "../support/thumbnailDataDir.ts";

/** Files of 3 MB and more through a link that takes seconds for each. */
const PICTURE = { pictureSize: { widthPx: 2400, heightPx: 1600 } };
const BYTES_PER_SECOND = 1_500_000;

/** The program that a photographer starts with `--fetch-originals`, killed in the middle of a file. */
describe("originals fetched by the daemon", () => {
  const endings: (() => unknown)[] = [];
  afterEach(async () => {
    for (const end of endings.splice(0).reverse()) await end();
  });

  it("go on after a kill where they stopped, and are the card's, checksum by checksum", async () => {
    const device = await startTestCamera({ rate: 1, busySeconds: 0.3, ...PICTURE });
    endings.push(() => device.close());
    const link = await startSlowLink(device.port, BYTES_PER_SECOND);
    endings.push(() => link.close());
    const dataDir = thumbnailDataDir();
    const start = (...args: readonly string[]): Program => {
      const program = startProgram("controller/main.ts", [
        ...["--camera", `ip:127.0.0.1:${link.port}`, "--port", "0", "--data", dataDir],
        ...["--fetch-originals", "--max-exposure-seconds", "1", "--interval-seconds", "4", ...args],
      ]);
      endings.push(() => program.child.kill("SIGKILL"));
      return program;
    };

    const first = start();
    const [, nightDir] = await first.prints(/rames go to (\S+)/);
    const folder = join(nightDir!, "originals", "camera-1");
    await expect
      .poll(() => partBytes(folder), { timeout: 60_000, interval: 50 })
      .toBeGreaterThan(0);
    first.child.kill("SIGKILL");
    await first.ended;
    const [part] = readdirSync(folder).filter((name) => name.endsWith(".part"));
    const begun = statSync(join(folder, part!));

    const second = start("--frames", "1");
    expect(await second.ended, second.printed()).toBe(0);
    expect(second.printed()).toMatch(/was cut off; the watch goes on/);
    // Gone on with, not begun again: it is the same file under its final name.
    expect(statSync(join(folder, part!.replace(/\.part$/, ""))).ino).toBe(begun.ino);
    const list = JSON.parse(readFileSync(join(folder, "originals.json"), "utf8")) as List;
    expect(list.pending).toEqual([]);
    const files = readdirSync(folder).filter((name) => name.endsWith(".jpg"));
    expect(list.kept.map(({ file }) => file).sort()).toEqual(files);
    for (const { file, sha256 } of list.kept) {
      expect(sha256Of(readFileSync(join(folder, file)))).toBe(sha256);
    }
    const onCard = await checksumsOnCard(device.port);
    for (const { sha256 } of list.kept) expect(onCard).toContain(sha256);
    expect(list.kept.length).toBeGreaterThan(1);
  }, 180_000);
});

type List = {
  readonly pending: readonly unknown[];
  readonly kept: readonly { readonly file: string; readonly sha256: string }[];
};

function partBytes(folder: string): number {
  if (!existsSync(folder)) return 0;
  const [part] = readdirSync(folder).filter((name) => name.endsWith(".jpg.part"));
  return part === undefined ? 0 : statSync(join(folder, part)).size;
}

/** Read by another session, whole, without the program's own way of fetching. */
async function checksumsOnCard(port: number): Promise<readonly string[]> {
  const transport = createTransport({ kind: "ip", host: "127.0.0.1", port });
  await transport.open(10_000);
  const session = new PtpSession(transport);
  await session.open();
  const checksums: string[] = [];
  for (const handle of await session.getObjectHandles()) {
    const { objectFormat } = await session.getObjectInfo(handle);
    if (objectFormat === FORMATS.Association) continue;
    checksums.push(sha256Of(await session.getObject(handle)));
  }
  await session.close();
  await transport.close();
  return checksums;
}

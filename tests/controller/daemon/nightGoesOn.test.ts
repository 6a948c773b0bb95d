import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { beforeEach, describe, expect, it, onTestFinished, vi } from "vitest";
import { parseCommandLine } from "../../../controller/commandLine.ts";
import { START_COMMAND, type StartOptions } from "../../../controller/config.ts";
import { startDaemon, type Daemon, type DaemonParts } from "../../../controller/daemon/daemon.ts";
import { openNight } from "../../../controller/daemon/openNight.ts";
import type { TellSleep } from "../../../controller/service/keepAwake.ts";
import { nightOfTheDead, noteRunning } from "../../../controller/service/runningProcess.ts";
import type { DaemonView, WatchPhase, WatchView } from "../../../core/api/messages.ts";
import { startCommand } from "../../support/program.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";
import { startTestCamera, type TestCamera } from "../../support/testCamera.ts";

const HOUR_MS = 3_600_000;
const PATIENCE = { timeout: 60_000 };

/** A watch on a real clock, of a camera on the network, by programs one after another. */
describe("the night of a real camera", () => {
  let device: TestCamera & { readonly port: number };
  let data: string;

  beforeEach(async () => {
    device = await startTestCamera({ rate: 1, busySeconds: 0.2 });
    onTestFinished(() => device.close());
    data = temporaryFolder();
  });

  const args = () => ["--camera", `ip:127.0.0.1:${device.port}`, "--port", "0", "--data", data];

  function optionsOf(...more: readonly string[]): StartOptions {
    const words = [...args(), "--max-exposure-seconds", "1", ...more];
    const line = parseCommandLine(START_COMMAND, words);
    if (line.kind === "help") throw new Error("no options");
    return line.options;
  }

  async function start(parts: DaemonParts = {}, ...more: readonly string[]) {
    const printed: string[] = [];
    const daemon = await startDaemon(optionsOf(...more), (text) => printed.push(text), parts);
    let isRunning = true;
    const end = async (how: "stop" | "abandon"): Promise<void> => {
      if (isRunning) await daemon[how]();
      isRunning = false;
    };
    onTestFinished(() => end("abandon"));
    return { daemon, printed, end };
  }

  const exposed = (count: number) =>
    vi.waitFor(() => expect(device.pictures.orders.length).toBeGreaterThanOrEqual(count), PATIENCE);
  const nights = (): readonly string[] => readdirSync(join(data, "nights"));
  const say = async (
    { address }: Daemon,
    word: string,
    body: object = {},
    cameraId = "camera-1",
  ): Promise<void> => {
    const url = `${address}api/watches/${cameraId}/${word}`;
    const headers = { "content-type": "application/json" };
    const answer = await fetch(url, { method: "POST", headers, body: JSON.stringify(body) });
    expect(answer.ok).toBe(true);
  };

  it("goes on when the program ended in order and is started again", async () => {
    const first = await start();
    await exposed(1);
    await first.end("stop");
    const taken = device.pictures.orders.length;
    const second = await start();
    expect(second.printed.join("\n")).toContain(`the watch goes on with frame ${taken}.`);
    await exposed(taken + 1);
    await second.end("stop");
    expect(nights()).toHaveLength(1);
  }, 180_000);

  it("is the same when the program dies before its first frame", async () => {
    const options = optionsOf();
    const opening = { isDemo: false, cameraIds: ["camera-1"], print: () => undefined };
    const open = () => openNight(options, { ...opening, revivedNightDir: null });
    const first = await open();
    first.catalogue.close();
    const second = await open();
    second.catalogue.close();
    expect(second.catalogue.nightDir).toBe(first.catalogue.nightDir);
  });

  it("is over with its own dawn, and another one begins after that", async () => {
    const options = optionsOf("--lat", "50", "--lon", "0");
    const opening = { isDemo: false, cameraIds: ["camera-1"], print: () => undefined };
    const dusk = Date.UTC(2027, 2, 20, 18, 30);
    const openAt = async (utcMs: number) => {
      vi.useFakeTimers({ now: utcMs, toFake: ["Date"] });
      onTestFinished(() => void vi.useRealTimers());
      const { catalogue } = await openNight(options, { ...opening, revivedNightDir: null });
      catalogue.close();
      return catalogue.nightDir;
    };
    const first = await openAt(dusk);
    expect(await openAt(dusk + 6 * HOUR_MS)).toBe(first);
    // Dawn at 50 degrees on the equinox: the Sun rises about 6:00 UTC. From memory, unconfirmed.
    expect(await openAt(dusk + 14 * HOUR_MS)).not.toBe(first);
  });

  it.each([
    [{}, 1],
    [{ NOTIFY_SOCKET: "/nowhere" }, 0],
  ])(
    "stays stopped when it is ended at once, under a manager too (%j: %i)",
    async (env, code) => {
      const program = startCommand(
        process.execPath,
        ["--import", "tsx", "controller/main.ts", ...args(), "--max-exposure-seconds", "8"],
        { cwd: process.cwd(), env: { ...process.env, ...env } },
      );
      onTestFinished(() => void program.child.kill("SIGKILL"));
      await exposed(1);
      program.child.kill("SIGTERM");
      await program.prints(/Once more to end at once/);
      program.child.kill("SIGTERM");
      expect(await program.ended, program.printed()).toBe(code);
    },
    180_000,
  );

  it("is another one when the first was stopped by hand and a person starts again", async () => {
    const first = await start();
    await exposed(1);
    await say(first.daemon, "stop");
    await first.daemon.finished;
    await first.end("stop");
    const second = await start();
    await second.end("stop");
    expect(nights()).toHaveLength(2);
  }, 180_000);

  it("stays over when it was stopped by hand and a manager starts what died after that", async () => {
    const first = await start({ isManaged: true });
    await exposed(1);
    await say(first.daemon, "stop");
    await first.daemon.finished;
    const left = nightOfTheDead(data);
    expect(left).toBe(join(data, "nights", nights()[0]!));
    const taken = device.pictures.orders.length;
    await first.end("stop");
    expect(nightOfTheDead(data)).toBeNull();
    // As a killed process leaves it.
    noteRunning(data, { address: "http://127.0.0.1:1/", nightDir: left });

    const second = await start({ isManaged: true });
    expect(second.printed.join("\n")).toMatch(/is over and stays so/);
    await second.daemon.finished;
    expect(nights()).toHaveLength(1);
    expect(device.pictures.orders).toHaveLength(taken);
    await say(second.daemon, "start");
    await exposed(taken + 1);
    await second.end("stop");
    expect(nights()).toHaveLength(1);
  }, 180_000);

  it("needs the computer awake while it is watched, and not while it rests by hand", async () => {
    const heard: boolean[] = [];
    const keepAwake = () => {
      heard.push(true);
      return () => void heard.push(false);
    };
    const { daemon, end } = await start({ keepAwake });
    await exposed(1);
    expect(heard).toEqual([true]);
    await say(daemon, "pause", { untilUtcMs: Date.now() + 3_600_000 });
    await hasPhase(daemon, "paused");
    expect(heard).toEqual([true]);
    await say(daemon, "pause");
    await vi.waitFor(() => expect(heard).toEqual([true, false]), PATIENCE);
    await say(daemon, "resume");
    await vi.waitFor(() => expect(heard).toEqual([true, false, true]), PATIENCE);
    await say(daemon, "stop");
    await daemon.finished;
    expect(heard).toEqual([true, false, true, false]);
    await end("stop");
    expect(heard).toEqual([true, false, true, false]);
  }, 180_000);

  it("notes on the page and in the log that the computer may fall asleep, until it is kept awake", async () => {
    let tell: TellSleep = () => {};
    const keepAwake = (tellDaemon: TellSleep) => {
      tell = tellDaemon;
      return () => {};
    };
    const other = await startTestCamera({ rate: 1, busySeconds: 0.2 });
    onTestFinished(() => other.close());
    const both = `ip:127.0.0.1:${device.port},ip:127.0.0.1:${other.port}`;
    const { daemon, printed, end } = await start({ keepAwake }, "--camera", both);
    await exposed(1);
    const lack = "This computer may fall asleep (it was refused): switch sleeping off.";
    tell(lack);
    const notes = async (cameraId = "camera-1") =>
      (await watchOf(daemon, cameraId)).guards.filter(({ guard }) => guard === "sleep");
    await vi.waitFor(
      async () => expect(await notes()).toMatchObject([{ level: "note", sentence: lack }]),
      PATIENCE,
    );
    expect(printed).toContain(lack);
    tell(null);
    await vi.waitFor(async () => expect(await notes()).toEqual([]), PATIENCE);
    expect(printed).toContain("This computer is kept from sleeping again.");

    await say(daemon, "stop", {}, "camera-2");
    await hasPhase(daemon, "finished", "camera-2");
    tell(lack);
    // A watch whose last frame is still fetched may hear of it, and forgets it when it is over.
    await vi.waitFor(async () => expect(await notes("camera-2")).toEqual([]), PATIENCE);
    await say(daemon, "start", {}, "camera-2");
    await vi.waitFor(
      async () => expect(await notes("camera-2")).toMatchObject([{ sentence: lack }]),
      PATIENCE,
    );

    for (const cameraId of ["camera-1", "camera-2"]) await say(daemon, "stop", {}, cameraId);
    await daemon.finished;
    await vi.waitFor(async () => expect(await notes()).toEqual([]), PATIENCE);
    await say(daemon, "start");
    await hasPhase(daemon, "watching");
    expect(await notes()).toEqual([]);
    await end("stop");
    const log = readFileSync(join(data, "nattvakt.log"), "utf8");
    expect(log).toMatch(/"event":"sleep.possible","sentence":"This computer may fall asleep/);
    expect(log).toMatch(/"event":"sleep.held_off"/);
  }, 180_000);

  it("still says why it ended when a manager starts what died after its end", async () => {
    const first = await start({ isManaged: true }, "--frames", "1");
    await first.daemon.finished;
    const ended = "The watch has ended after the frames you asked for.";
    expect((await watchOf(first.daemon)).sentence).toBe(ended);
    const nightDir = nightOfTheDead(data);
    await first.end("stop");
    noteRunning(data, { address: "http://127.0.0.1:1/", nightDir });
    const second = await start({ isManaged: true });
    await second.daemon.finished;
    expect(await watchOf(second.daemon)).toMatchObject({ sentence: ended, endsBy: "frames" });
    await second.end("stop");
  }, 180_000);
});

async function watchOf({ address }: Daemon, cameraId = "camera-1"): Promise<WatchView> {
  const view = (await (await fetch(`${address}api/state`)).json()) as DaemonView;
  return view.watches.find((watch) => watch.cameraId === cameraId)!;
}

function hasPhase(daemon: Daemon, phase: WatchPhase, cameraId = "camera-1"): Promise<void> {
  return vi.waitFor(async () => {
    expect((await watchOf(daemon, cameraId)).phase).toBe(phase);
  }, PATIENCE);
}

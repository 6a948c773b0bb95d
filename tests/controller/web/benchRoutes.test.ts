import { existsSync } from "node:fs";
import { join } from "node:path";

import { afterEach, beforeEach, describe, expect, test } from "vitest";

import type { BenchView } from "../../../core/api/benchMessages.ts";
import { NightError } from "../../../core/errors.ts";
import { utcMs } from "../../../core/units.ts";
import { BenchRunner } from "../../../controller/bench-check/benchRunner.ts";
import { createTransport } from "../../../controller/cameras/createTransport.ts";
import { benchRoutes } from "../../../controller/web/benchRoutes.ts";
import { startWebServer, type WebServer } from "../../../controller/web/server.ts";
import { createFakeNight } from "../../support/fakeNight.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";
import { startTestCamera } from "../../support/testCamera.ts";

const RATE = 20;

let device: Awaited<ReturnType<typeof startTestCamera>>;
let runner: BenchRunner;
let server: WebServer;
let dataDir: string;
let holder: string | null;

beforeEach(async () => {
  dataDir = temporaryFolder();
  holder = null;
  device = await startTestCamera({ rate: RATE, busySeconds: 0.2 });
  const { port, clock } = device;
  runner = new BenchRunner({
    dataDir,
    origin: clock.origin,
    utcMs: () => utcMs(Date.UTC(2027, 2, 24, 17)),
    transportOf: () => () => createTransport({ kind: "ip", host: "127.0.0.1", port }),
    schedulingOf: () => "ordinary",
  });
  server = await startWebServer({
    port: 0,
    service: createFakeNight(),
    uiDir: dataDir,
    extraRoutes: benchRoutes({
      runner,
      claim: () => {
        if (holder !== null) throw new NightError("settings.invalid", holder);
      },
    }),
  });
});

afterEach(async () => {
  await runner.stop();
  await server.close();
  await device.close();
});

async function view(): Promise<BenchView> {
  return (await (await fetch(new URL("/api/bench-check", server.address))).json()) as BenchView;
}

function tell(what: "start" | "stop"): Promise<Response> {
  return fetch(new URL(`/api/bench-check/${what}`, server.address), {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ cameraId: "virtual" }),
  });
}

describe("a bench check from the page", () => {
  test("tells its steps, then its table and the profile that it wrote", async () => {
    expect(await view()).toEqual({ kind: "none" });
    expect(await (await tell("start")).json()).toMatchObject({ kind: "running" });
    await expect
      .poll(
        async () => {
          const now = await view();
          return now.kind === "running" ? now.steps : [];
        },
        { timeout: 25_000 },
      )
      .toContain("Exposing 1, 2 and 5 s, twice.");
    await expect.poll(async () => (await view()).kind, { timeout: 30_000 }).toBe("done");
    const done = await view();
    if (done.kind !== "done") throw new Error("not done");
    expect(done.rows.map(({ name }) => name)).toEqual(
      expect.arrayContaining(["camera", "ISO", "bulb 5 s", "dead time", "preview", "battery"]),
    );
    expect(done.rows).toContainEqual({
      name: "timing",
      words: expect.stringMatching(/^The shutter is timed without real-time/) as string,
    });
    expect(done.written).toMatch(/^profiles\/cameras\/measured-.*\.json$/);
    expect(existsSync(join(dataDir, done.written))).toBe(true);
    // Where taking it off brought nothing, the timing stays: which of both depends on the machine.
    expect(done.sentence).toMatch(
      /^Ready.* (the watch takes that off|The shutter's timing stays as it is: .*)\.$/,
    );
  });

  test("is refused while something else has the camera, and a second while one runs", async () => {
    holder = "The watch has this camera.";
    const refused = await tell("start");
    expect(refused.status).toBe(400);
    expect(await refused.json()).toMatchObject({ sentence: "The watch has this camera." });
    expect(runner.isRunning).toBe(false);
    holder = null;
    await tell("start");
    const second = await tell("start");
    expect(await second.json()).toMatchObject({ sentence: "A bench check is running already." });
  });

  test("ended early releases the camera, writes nothing, and can begin again", async () => {
    await tell("start");
    await expect
      .poll(() => device.camera.capture.exposing ?? null, { timeout: 25_000 })
      .not.toBeNull();
    expect(await (await tell("stop")).json()).toMatchObject({
      kind: "failed",
      sentence: expect.stringContaining("ended early; the shutter is closed") as string,
    });
    expect(device.camera.capture.exposing).toBeNull();
    expect(existsSync(join(dataDir, "profiles"))).toBe(false);
    expect(await (await tell("start")).json()).toMatchObject({ kind: "running" });
  });
});

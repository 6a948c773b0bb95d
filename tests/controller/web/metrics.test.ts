import { spawnSync } from "node:child_process";
import { readFileSync, statSync } from "node:fs";
import { join } from "node:path";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { metricsToken } from "../../../controller/web/metricsAccess.ts";
import { startWebServer, type WebServer } from "../../../controller/web/server.ts";
import { metricsText } from "../../../core/api/nightMetrics.ts";
import { createFakeNight, writePicture, type FakeNight } from "../../support/fakeNight.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

/** Prometheus' own client library reads the text back; it is Debian's python3-prometheus-client. */
const READER = `
import json, sys
from prometheus_client.parser import text_string_to_metric_families as read
print(json.dumps([[s.name, s.labels, s.value] for f in read(sys.stdin.read()) for s in f.samples]))
`;
const PYTHON = "/usr/bin/python3";
const hasReader =
  spawnSync(PYTHON, ["-c", "import prometheus_client"], { stdio: "ignore" }).status === 0;
if (!hasReader) {
  if (process.env["CI"]) throw new Error("python3-prometheus-client is not installed");
  process.stderr.write("\nSKIPPED: no python3-prometheus-client to read the figures with\n");
}

let dataDir: string;
let night: FakeNight;
let server: WebServer;
let token: string;

beforeEach(async () => {
  dataDir = temporaryFolder();
  night = createFakeNight({ framesDir: join(dataDir, "frames") });
  await writePicture(join(dataDir, "frames"), 0);
  night.addFrame();
  token = metricsToken(dataDir);
  server = await startWebServer({
    ...{ port: 0, service: night, uiDir: join(dataDir, "ui") },
    metricsToken: token,
  });
});

afterEach(async () => await server.close());

const get = (path: string, headers: Record<string, string> = {}) =>
  fetch(new URL(path, server.address), { headers });

describe("the night's figures", () => {
  it("open to their own token alone, which its owner alone can read", async () => {
    for (const authorization of ["", "Bearer", "Bearer wrong", `Basic ${token}`, token]) {
      const refused = await get("/metrics", authorization === "" ? {} : { authorization });
      expect(refused.status, authorization).toBe(403);
      expect(await refused.text()).toContain("metrics-token");
    }
    const answer = await get("/metrics", { authorization: `Bearer ${token}` });
    expect(answer.status).toBe(200);
    expect(answer.headers.get("content-type")).toMatch(/^text\/plain; version=0\.0\.4/);
    expect(await answer.text()).toContain('nattvakt_frames_total{camera="');
    expect(statSync(join(dataDir, "metrics-token")).mode & 0o777).toBe(0o600);
  });

  it("keep their token over a restart", () => {
    expect(metricsToken(dataDir)).toBe(token);
    expect(readFileSync(join(dataDir, "metrics-token"), "utf8")).toBe(`${token}\n`);
  });

  it("leave out what is not known", () => {
    const view = night.view();
    const [watch] = view.watches;
    const unknown = { ...view, watches: [{ ...watch!, batteryPercent: null, newest: null }] };
    expect(metricsText(unknown)).not.toMatch(/battery|frame_age|NaN|null|undefined/);
  });

  it.runIf(hasReader)("are read back by an independent reader, odd names included", () => {
    const view = night.view();
    const [watch] = view.watches;
    const cameraId = 'left "north"\\\ncamera';
    const text = metricsText({ ...view, watches: [{ ...watch!, cameraId, batteryPercent: 77 }] });
    const read = spawnSync(PYTHON, ["-c", READER], { input: text, encoding: "utf8" });
    expect(read.stderr).toBe("");
    const samples = JSON.parse(read.stdout) as [string, Record<string, string>, number][];
    expect(samples).toContainEqual(["nattvakt_battery_ratio", { camera: cameraId }, 0.77]);
    expect(samples).toContainEqual([
      "nattvakt_frames_total",
      { camera: cameraId },
      watch!.frameCount,
    ]);
    expect(samples.length).toBe(text.split("\n").filter((line) => /^[a-z]/.test(line)).length);
  });
});

it("says in one word and one sentence how the night is", async () => {
  const health = (await (await get("/api/health")).json()) as Record<string, unknown>;
  const { watches, state, version } = night.view();
  expect(health).toMatchObject({
    isWell: watches.every(({ allIsWell }) => allIsWell),
    sentence: state.sentence,
    version,
  });
});

it("refuses a form that another page sends, although a link may be followed", async () => {
  const headers = { "sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate" };
  const { host } = new URL(server.address);
  const { request } = await import("node:http");
  const statusOf = (method: string): Promise<number | undefined> =>
    new Promise((resolve, reject) => {
      const sent = request(
        new URL("/api/health", server.address),
        { method, headers: { ...headers, host } },
        (response) => {
          response.resume();
          resolve(response.statusCode);
        },
      );
      sent.once("error", reject).end();
    });
  expect(await statusOf("GET")).toBe(200);
  expect(await statusOf("POST")).toBe(403);
});

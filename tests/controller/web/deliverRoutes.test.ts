import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

import { afterEach, beforeEach, expect, test } from "vitest";

import { DEFAULT_DELIVER_ORDER } from "../../../core/api/deliverMessages.ts";
import { deliverRoutes } from "../../../controller/web/deliverRoutes.ts";
import { startWebServer, type WebServer } from "../../../controller/web/server.ts";
import { createFakeDeliveries, type FakeDeliveries } from "../../support/fakeDeliveries.ts";
import { createFakeNight } from "../../support/fakeNight.ts";
import { NIGHT_ID } from "../../support/madeUpNight.ts";

let dir: string;
let deliveries: FakeDeliveries;
let server: WebServer;

beforeEach(async () => {
  dir = mkdtempSync(join(tmpdir(), "nattvakt-deliver-"));
  writeFileSync(join(dir, "report.html"), "<!doctype html><title>Report</title>");
  writeFileSync(join(dir, "film.mp4"), "0123456789");
  const night = createFakeNight();
  for (let index = 0; index < 12; index += 1) night.addFrame();
  deliveries = createFakeDeliveries(night, {
    "report.html": join(dir, "report.html"),
    "film.mp4": join(dir, "film.mp4"),
    "sequence-1": dir,
  });
  server = await startWebServer({
    port: 0,
    service: night,
    uiDir: dir,
    extraRoutes: deliverRoutes(deliveries),
  });
});

afterEach(async () => {
  await server.close();
  rmSync(dir, { recursive: true, force: true });
});

function send(method: string, path: string, body?: unknown): Promise<Response> {
  return fetch(new URL(path, server.address), {
    method,
    ...(body === undefined
      ? {}
      : { headers: { "content-type": "application/json" }, body: JSON.stringify(body) }),
  });
}

const night = `/api/nights/${NIGHT_ID}`;

test("takes an order in part: what is left out is as usual", async () => {
  const response = await send("POST", `${night}/deliveries`, { framesPerSecond: 24 });
  expect(response.status).toBe(200);
  expect(deliveries.orders).toEqual([{ ...DEFAULT_DELIVER_ORDER, framesPerSecond: 24 }]);
});

test.each([
  [{ framesPerSecond: 23 }, "A film runs at 24, 25 or 30 frames a second."],
  [{ videos: ["avi"] }, "A film is one of h264, vp9, av1."],
  [{ videoBox: { widthPx: 0, heightPx: 100 } }, /^The film's width must be a whole number/],
  [{ colour: "warm" }, 'A delivery has no option called "colour".'],
  [{ fromUtcMs: 2, toUtcMs: 1 }, "The film's end cannot lie before its beginning."],
])("refuses the order %j in one sentence and begins nothing", async (order, sentence) => {
  const response = await send("POST", `${night}/deliveries`, order);
  expect(response.status).toBe(400);
  const answer = (await response.json()) as { sentence: string };
  if (typeof sentence === "string") expect(answer.sentence).toBe(sentence);
  else expect(answer.sentence).toMatch(sentence);
  expect(deliveries.orders).toEqual([]);
});

test("gives the morning's view, and the view again after a pick and an edit", async () => {
  const first = (await (await send("GET", `${night}/morning`)).json()) as {
    sets: { setId: string; frameCount: number }[];
    keepers: { frameIndex: number; isByHand: boolean }[];
  };
  expect(first.sets.map(({ frameCount }) => frameCount)).toEqual([12]);
  const picked = await send("PUT", `${night}/picks`, {
    cameraId: "virtual",
    frameIndex: 7,
    pick: "keep",
  });
  expect(await picked.json()).toMatchObject({
    keepers: [{ frameIndex: 2 }, { frameIndex: 7, isByHand: true }, { frameIndex: 11 }],
  });
  const cut = await send("PUT", `${night}/edits`, {
    cuts: [{ cameraId: "virtual", frameIndex: 5 }],
    joins: [],
    names: {},
    marks: {},
  });
  expect(await cut.json()).toMatchObject({ sets: [{ frameCount: 5 }, { frameCount: 7 }] });
});

test("shows the report in a policy of its own that runs no script", async () => {
  const response = await send("GET", `${night}/delivered?path=report.html`);
  expect(response.headers.get("content-type")).toContain("text/html");
  const policy = response.headers.get("content-security-policy") ?? "";
  expect(policy).toContain("default-src 'none'");
  expect(policy).toContain("sandbox");
  expect(policy).not.toContain("script");
});

test("sends a part of a film when a part is asked for", async () => {
  const response = await fetch(new URL(`${night}/delivered?path=film.mp4`, server.address), {
    headers: { range: "bytes=2-4" },
  });
  expect(response.status).toBe(206);
  expect(await response.text()).toBe("234");
});

test("gives no file that no delivery made, and no folder", async () => {
  for (const path of ["other.mp4", "../catalogue.sqlite", "sequence-1"]) {
    const response = await send("GET", `${night}/delivered?path=${encodeURIComponent(path)}`);
    expect(response.status, path).toBe(404);
  }
  expect((await send("GET", `${night}/delivered`)).status).toBe(400);
});

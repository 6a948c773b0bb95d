import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

import { afterAll, beforeAll, expect, test } from "vitest";

import { PlanService } from "../../../controller/planning/planService.ts";
import { planRoutes } from "../../../controller/web/planRoutes.ts";
import { startWebServer, type WebServer } from "../../../controller/web/server.ts";
import { utcMs } from "../../../core/units.ts";
import { createFakeNight, type FakeNight } from "../../support/fakeNight.ts";

let dir: string;
let plans: PlanService;
let night: FakeNight;
let server: WebServer;

beforeAll(async () => {
  dir = mkdtempSync(join(tmpdir(), "nattvakt-plan-"));
  plans = new PlanService({
    dataFolder: dir,
    kpFeedUrl: null,
    nowUtcMs: () => Date.UTC(2026, 10, 25, 15),
  });
  night = createFakeNight();
  night.cameraFacts = () => ({ program: "other", focus: "manual" });
  night.cameraKit = () => ({
    ...{ fNumberLadder: [2.8, 1.8], focalLengthMm: null, imageWidthPx: 6000, freeBytes: 32e9 },
  });
  server = await startWebServer({
    port: 0,
    service: night,
    uiDir: dir,
    extraRoutes: planRoutes(plans, night),
  });
});

afterAll(async () => {
  await server.close();
  await plans.close();
  rmSync(dir, { recursive: true, force: true });
});

async function send(method: string, path: string, body?: unknown): Promise<Response> {
  return fetch(new URL(path, server.address), {
    method,
    ...(body === undefined
      ? {}
      : { headers: { "content-type": "application/json" }, body: JSON.stringify(body) }),
  });
}

const HUT = { latitudeDeg: 68.9, longitudeDeg: 27, date: "2026-11-25" };

test("plans a night, and gives the same one as a calendar file", async () => {
  const response = await send("POST", "/api/plan", HUT);
  const { plan } = (await response.json()) as { plan: { facing: string; samples: unknown[] } };
  expect(plan.facing).toBe("north");
  expect(plan.samples.length).toBeGreaterThan(100);
  const calendar = await send("POST", "/api/plan/calendar", HUT);
  expect(calendar.headers.get("content-type")).toContain("text/calendar");
  expect(await calendar.text()).toMatch(/^BEGIN:VCALENDAR\r\n/);
});

test("names a Kp feed and forgets it again, and refuses what is no address", async () => {
  const url = "http://127.0.0.1:9/kp.json";
  expect(await (await send("PUT", "/api/kp", { url })).json()).toMatchObject({ url });
  expect(await (await send("GET", "/api/kp")).json()).toMatchObject({ url });
  const refused = await send("PUT", "/api/kp", { url: "the radio" });
  expect(refused.status).toBe(400);
  expect(await refused.json()).toMatchObject({
    sentence: expect.stringContaining("must be an http or https address") as string,
  });
  expect(await (await send("PUT", "/api/kp", { url: null })).json()).toMatchObject({
    ...{ kind: "none", url: null },
  });
});

test("gives a kit with the camera's word in it, and says which fields that concerns", async () => {
  const kit = { name: "One", sensorClass: "crop", focalLengthMm: 11, fNumberWidest: 4 };
  const reported = await send("POST", "/api/kits/reported", { cameraId: "virtual", kit });
  expect(await reported.json()).toMatchObject({
    input: { name: "One", focalLengthMm: 11, fNumberWidest: 1.8, cardBytes: 32e9 },
    reported: ["fNumberWidest", "cardBytes", "imageWidthPx"],
  });
  const wrong = await send("POST", "/api/kits/reported", { kit: { ...kit, sensorClass: "huge" } });
  expect(wrong.status).toBe(400);
});

test.each([
  [{ ...HUT, latitudeDeg: 91 }],
  [{ ...HUT, date: "2026-02-31" }],
  [{ ...HUT, latitudeDeg: "far north" }],
  [[]],
])("refuses %j in one sentence", async (query) => {
  const response = await send("POST", "/api/plan", query);
  expect(response.status).toBe(400);
  const answer = (await response.json()) as { code: string; sentence: string };
  expect(answer.code).toBe("settings.invalid");
  expect(answer.sentence).toMatch(/^[A-Z].*\.$/);
});

test("remembers and forgets kits and places by name", async () => {
  const kit = { name: "Wide", sensorClass: "crop", focalLengthMm: 11, fNumberWidest: 2.8 };
  expect((await send("PUT", "/api/kits", kit)).status).toBe(200);
  expect(await (await send("GET", "/api/kits")).json()).toMatchObject([{ input: kit }]);
  expect(await (await send("DELETE", "/api/kits/Wide")).json()).toEqual([]);
  expect((await send("DELETE", "/api/kits/Wide")).status).toBe(400);
  const place = { name: "Jetty by the lake", latitudeDeg: 68.9, longitudeDeg: 27 };
  expect((await send("PUT", "/api/places", place)).status).toBe(200);
  expect(await (await send("GET", "/api/places")).json()).toMatchObject([place]);
  expect(await (await send("DELETE", "/api/places/Jetty%20by%20the%20lake")).json()).toEqual([]);
});

test("fills the checklist with what the camera tells, and takes ticks for the rest", async () => {
  const response = await send("POST", "/api/checklist", {
    ticks: ["tripodFirm"],
    needs: { bytes: 1, batteries: 1 },
  });
  const { items } = (await response.json()) as { items: { id: string; answer: string }[] };
  const answers = Object.fromEntries(items.map(({ id, answer }) => [id, answer]));
  expect(answers).toMatchObject({
    manualExposure: "notMet",
    manualFocus: "met",
    bulb: "cannotTell",
    tripodFirm: "met",
    strapTied: "cannotTell",
  });
});

test("judges the card by the sum that stands in the head of the page, once frames come", async () => {
  const HOUR_MS = 3_600_000;
  const view = night.view.bind(night);
  night.view = () => {
    const now = view();
    const endsIn = (hours: number) => utcMs(now.nowUtcMs + hours * HOUR_MS);
    const running = { frameCount: 20, endsUtcMs: endsIn(7), cardEndsUtcMs: endsIn(34) };
    return { ...now, watches: now.watches.map((watch) => ({ ...watch, ...running })) };
  };
  try {
    const response = await send("POST", "/api/checklist", {
      ticks: [],
      needs: { bytes: 1e12, batteries: 1 },
    });
    const { items } = (await response.json()) as { items: { id: string }[] };
    expect(items.find(({ id }) => id === "freeSpace")).toMatchObject({
      answer: "met",
      found: expect.stringMatching(/free, about 34 h at this pace; 7 h to go$/) as string,
    });
  } finally {
    night.view = view;
  }
});

test("describes its routes in the API's document", async () => {
  const document = (await (await send("GET", "/api/openapi.json")).json()) as {
    paths: Record<string, object>;
  };
  for (const path of ["/api/plan", "/api/kits/{name}", "/api/checklist", "/api/tonight"]) {
    expect(document.paths[path], path).toBeDefined();
  }
});

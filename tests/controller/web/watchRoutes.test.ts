import { afterEach, beforeEach, expect, it } from "vitest";
import { startWebServer, type WebServer } from "../../../controller/web/server.ts";
import { createFakeNight, type FakeNight } from "../../support/fakeNight.ts";
import { NIGHT_START } from "../../support/madeUpNight.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

let night: FakeNight;
let server: WebServer;

beforeEach(async () => {
  night = createFakeNight();
  server = await startWebServer({ port: 0, service: night, uiDir: temporaryFolder() });
});

afterEach(() => server.close());

function pause(body: unknown): Promise<Response> {
  return fetch(new URL("/api/watches/virtual/pause", server.address), {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  });
}

const TEN_MINUTES_MS = 600_000;

it.each([
  ["no end", {}, null],
  ["ten minutes", { minutes: 10 }, NIGHT_START + TEN_MINUTES_MS],
  [
    "a moment ten minutes away",
    { untilUtcMs: NIGHT_START + TEN_MINUTES_MS },
    NIGHT_START + TEN_MINUTES_MS,
  ],
])("hands on a pause with %s", async (_what, body, untilUtcMs) => {
  expect((await pause(body)).status).toBe(200);
  expect(night.commands).toEqual([{ cameraId: "virtual", command: { kind: "pause", untilUtcMs } }]);
});

it.each([
  [{ untilUtcMs: NIGHT_START - 1 }, "A pause ends after now and within a day."],
  [{ minutes: 0 }, "A pause lasts from 1 to 1440 minutes."],
  [{ minutes: 5, untilUtcMs: 1 }, "Say either until when the pause lasts or for how many minutes."],
  [{ forever: true }, 'A pause has nothing called "forever".'],
])("refuses a pause of %j in one sentence", async (body, sentence) => {
  const answer = await pause(body);
  expect(answer.status).toBe(400);
  expect(await answer.json()).toMatchObject({ sentence });
  expect(night.commands).toEqual([]);
});

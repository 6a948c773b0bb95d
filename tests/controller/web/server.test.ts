import { createHash } from "node:crypto";
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { request as httpRequest } from "node:http";
import { connect, type AddressInfo } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";

import sharp from "sharp";
import * as v from "valibot";
import { afterEach, beforeEach, expect, test } from "vitest";
import { WebSocket } from "ws";

import type { ServerMessage } from "../../../core/api/messages.ts";
import { serverMessageSchema } from "../../../core/api/schemas.ts";
import { COLUMN_ROWS } from "../../../controller/web/frameImages.ts";
import type { PageState } from "../../../controller/pageBuildProcess.ts";
import { openDoor, startWebServer, type WebServer } from "../../../controller/web/server.ts";
import { createFakeNight, writePicture, type FakeNight } from "../../support/fakeNight.ts";
import { NIGHT_ID } from "../../support/madeUpNight.ts";

let dir: string;
let night: FakeNight;
let server: WebServer;
let pageState: PageState;

beforeEach(async () => {
  pageState = "ready";
  dir = mkdtempSync(join(tmpdir(), "nattvakt-web-"));
  night = createFakeNight({ framesDir: join(dir, "frames") });
  server = await startWebServer({
    port: 0,
    service: night,
    uiDir: join(dir, "ui"),
    cacheDir: join(dir, "cache"),
    pageState: () => pageState,
  });
});

afterEach(async () => {
  await server.close();
  rmSync(dir, { recursive: true, force: true });
});

function call(path: string, init: RequestInit = {}): Promise<Response> {
  return fetch(new URL(path, server.address), init);
}

/** A request whose Host, Origin and other headers are exactly these; fetch would set its own. */
function rawStatus(
  headers: Record<string, string>,
  path = "/api/state",
): Promise<{ status: number; text: string }> {
  return new Promise((resolve, reject) => {
    const request = httpRequest(
      { host: "127.0.0.1", port: server.port, path, headers, setHost: false },
      (response) => {
        let text = "";
        response.on("data", (part) => (text += String(part)));
        response.on("end", () => resolve({ status: response.statusCode ?? 0, text }));
      },
    );
    request.on("error", reject);
    request.end();
  });
}

test("answers on loopback, and says its own port as the Host", async () => {
  const response = await call("/api/state");
  expect(response.status).toBe(200);
  expect(await response.json()).toMatchObject({ version: "0.1.0", rate: 10 });
  for (const host of ["localhost", "127.0.0.1", "[::1]"]) {
    expect((await rawStatus({ host: `${host}:${server.port}` })).status).toBe(200);
  }
});

test("answers with a dark page that asks again by itself while the page is being built", async () => {
  mkdirSync(join(dir, "ui"));
  writeFileSync(join(dir, "ui", "index.html"), "<title>an older page</title>");
  pageState = "building";
  const waiting = await call("/");
  expect(waiting.status).toBe(503);
  expect(waiting.headers.get("content-type")).toBe("text/html; charset=utf-8");
  const html = await waiting.text();
  expect(html).toContain("The page is being built");
  expect(html).toContain('<meta http-equiv="refresh" content="2">');
  // Its one style is dark, and the policy lets exactly that one through.
  const style = /<style>([^<]*)<\/style>/.exec(html)![1]!;
  expect(style).toContain("background:#000;color:#f00");
  const hash = createHash("sha256").update(style).digest("base64");
  expect(waiting.headers.get("content-security-policy")).toContain(`style-src 'sha256-${hash}'`);
  expect((await call("/api/state")).status).toBe(200);

  pageState = "ready";
  const there = await call("/");
  expect(there.status).toBe(200);
  expect(await there.text()).toContain("an older page");
});

test("serves the older page where a newer one could not be built", async () => {
  mkdirSync(join(dir, "ui"));
  writeFileSync(join(dir, "ui", "index.html"), "<title>an older page</title>");
  pageState = "failed";
  expect(await (await call("/")).text()).toContain("an older page");
});

test("answers with a dark page before there is a night to show", async () => {
  const door = await openDoor(0);
  try {
    const { port } = door.address() as AddressInfo;
    const waiting = await fetch(`http://127.0.0.1:${port}/`);
    expect(waiting.status).toBe(503);
    expect(await waiting.text()).toContain("Nattvakt is starting.");
    expect(waiting.headers.get("content-security-policy")).toContain("default-src 'none'");
    const other = await fetch(`http://127.0.0.1:${port}/api/state`);
    expect(await other.text()).toBe("Nattvakt is starting.\n");
  } finally {
    door.close();
  }
});

test("refuses a foreign Host, another port's Host and a missing one", async () => {
  for (const host of ["night.example:80", "127.0.0.1:1", `evil.localhost:${server.port}`, ""]) {
    const { status, text } = await rawStatus({ host });
    expect(status, host).toBe(403);
    expect(JSON.parse(text)).toMatchObject({ code: "web.refused" });
  }
});

test("refuses a foreign Origin, an opaque one, and a cross-site picture", async () => {
  const host = `127.0.0.1:${server.port}`;
  for (const origin of ["http://night.example", "null", "http://127.0.0.1:1"]) {
    expect((await rawStatus({ host, origin })).status, origin).toBe(403);
  }
  expect((await rawStatus({ host, "sec-fetch-site": "cross-site" })).status).toBe(403);
  expect((await rawStatus({ host, origin: `http://localhost:${server.port}` })).status).toBe(200);
});

test("refuses a foreign page's socket", async () => {
  const socket = new WebSocket(`ws://127.0.0.1:${server.port}/api/live`, {
    origin: "http://night.example",
  });
  const status = await new Promise((resolve) =>
    socket.on("unexpected-response", (_request, response) => resolve(response.statusCode)),
  );
  expect(status).toBe(403);
});

test("listens on loopback and on no other address", async () => {
  const { networkInterfaces } = await import("node:os");
  const others = Object.values(networkInterfaces())
    .flatMap((addresses) => addresses ?? [])
    .filter(({ internal, family }) => !internal && family === "IPv4");
  for (const { address } of others) {
    const outcome = await new Promise((resolve) => {
      const socket = connect(server.port, address);
      socket.on("connect", () => resolve("connected"));
      socket.on("error", () => resolve("refused"));
    });
    expect(outcome).toBe("refused");
  }
  expect(server.address).toBe(`http://127.0.0.1:${server.port}/`);
});

test("says in one line that the port is taken", async () => {
  const second = startWebServer({ port: server.port, service: night, uiDir: dir });
  await expect(second).rejects.toMatchObject({
    code: "port.taken",
    message: `Port ${server.port} is taken, perhaps by a Nattvakt that runs already; choose another with --port.`,
  });
});

test("sends a strict content policy and no promise of HTTPS", async () => {
  const { headers } = await call("/api/state");
  const policy = headers.get("content-security-policy") ?? "";
  expect(policy).toContain("default-src 'none'");
  expect(policy).toContain("script-src 'self'");
  expect(policy).not.toContain("unsafe");
  expect(headers.get("strict-transport-security")).toBeNull();
  expect(headers.get("x-content-type-options")).toBe("nosniff");
  expect(headers.get("x-powered-by")).toBeNull();
});

test("says that the page is not built, while the API works", async () => {
  const response = await call("/");
  expect(response.status).toBe(503);
  expect(await response.text()).toContain("npm run build");
});

test("refuses a body over 64 kB and one that is no JSON, in one sentence each", async () => {
  const patch = (body: string): Promise<Response> =>
    call("/api/watches/virtual/settings", {
      method: "PATCH",
      headers: { "content-type": "application/json" },
      body,
    });
  const large = await patch(JSON.stringify({ targetStops: "x".repeat(70_000) }));
  expect(large.status).toBe(403);
  expect(await large.json()).toEqual({
    code: "web.refused",
    sentence: "A request may carry 64 kB at most.",
  });
  const broken = await patch("{targetStops");
  expect(broken.status).toBe(400);
  expect(await broken.json()).toMatchObject({ sentence: "The request's body is not valid JSON." });
  expect(night.commands).toEqual([]);
});

test("starts, pauses, resumes and stops a watch, and answers with how it stands", async () => {
  for (const [order, phase] of [
    ["pause", "paused"],
    ["resume", "watching"],
    ["stop", "finished"],
    ["start", "watching"],
  ] as const) {
    const response = await call(`/api/watches/virtual/${order}`, { method: "POST" });
    expect(response.status, order).toBe(200);
    expect(await response.json()).toMatchObject({ cameraId: "virtual", phase });
  }
  expect(night.commands.map(({ command }) => command.kind)).toEqual([
    "pause",
    "resume",
    "stop",
    "start",
  ]);
});

test("hands the service's own refusal on as one sentence", async () => {
  night.changeWatch({ phase: "idle" });
  const response = await call("/api/watches/virtual/pause", { method: "POST" });
  expect(response.status).toBe(400);
  expect(await response.json()).toEqual({
    code: "settings.invalid",
    sentence: "Only a running watch can be paused.",
  });
});

test("knows no camera, night, frame or route that is not there", async () => {
  night.addFrame();
  for (const [path, method] of [
    ["/api/watches/other/start", "POST"],
    ["/api/nights/1999-01-01_none/frames", "GET"],
    [`/api/nights/${NIGHT_ID}/frames/7`, "GET"],
    [`/api/nights/${NIGHT_ID}/frames/seven`, "GET"],
    [`/api/nights/..%2f..%2fetc/frames/0/image.jpg`, "GET"],
    ["/api/nothing", "GET"],
    ["/nothing.html", "GET"],
  ] as const) {
    const response = await call(path, { method });
    expect(response.status, path).toBe(404);
    const answer = (await response.json()) as { code: string; sentence: string };
    expect(answer.code).toBe("web.not_found");
    expect(answer.sentence).toMatch(/\.$/);
  }
});

test("answers a browser's wrong address with a dark page and a way back", async () => {
  const response = await call("/before", { headers: { accept: "text/html,*/*;q=0.8" } });
  expect(response.status).toBe(404);
  expect(response.headers.get("content-type")).toBe("text/html; charset=utf-8");
  const html = await response.text();
  expect(html).toContain('<a href="/">');
  expect(html).toContain("background:#000;color:#f00");
});

test("changes settings by the trade's names, and only those that were sent", async () => {
  const response = await call("/api/watches/virtual/settings", {
    method: "PATCH",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ isoMax: 6400, stopsPerMinuteMax: 2 }),
  });
  expect(response.status).toBe(200);
  expect(night.commands.at(-1)?.command).toEqual({
    kind: "settings",
    settings: { isoMax: 6400, stopsPerMinuteMax: 2 },
  });
});

test("gives frames by range, and refuses a range that is no number", async () => {
  for (let index = 0; index < 5; index += 1) night.addFrame();
  const response = await call(`/api/nights/${NIGHT_ID}/frames?from=2&count=2`);
  const frames = (await response.json()) as { frameIndex: number }[];
  expect(frames.map(({ frameIndex }) => frameIndex)).toEqual([2, 3]);
  const refused = await call(`/api/nights/${NIGHT_ID}/frames?from=-1`);
  expect(refused.status).toBe(400);
  expect(await refused.json()).toEqual({
    code: "usage.invalid",
    sentence: "from must be a whole number from 0 to 999999999.",
  });
});

test("makes a thumbnail, a smaller picture and the whole file of a frame", async () => {
  await writePicture(join(dir, "frames"), 0, { width: 1200, height: 800 });
  night.addFrame();
  const widthOf = async (path: string): Promise<number | undefined> => {
    const response = await call(`/api/nights/${NIGHT_ID}/frames/0/${path}`);
    expect(response.headers.get("content-type")).toBe("image/jpeg");
    return (await sharp(Buffer.from(await response.arrayBuffer())).metadata()).width;
  };
  expect(await widthOf("thumb.jpg")).toBe(192);
  expect(await widthOf("image.jpg?width=640")).toBe(640);
  expect(await widthOf("image.jpg")).toBe(1200);
});

test("sends a picture once: the second request with its tag is answered with 304", async () => {
  await writePicture(join(dir, "frames"), 0);
  night.addFrame();
  const path = `/api/nights/${NIGHT_ID}/frames/0/thumb.jpg`;
  const tag = (await call(path)).headers.get("etag") ?? "";
  const again = await rawStatus({ host: `127.0.0.1:${server.port}`, "if-none-match": tag }, path);
  expect(again).toEqual({ status: 304, text: "" });
});

test("says in one sentence that a picture is damaged or gone", async () => {
  await writePicture(join(dir, "frames"), 0);
  writeFileSync(join(dir, "frames", "000000.jpg"), "this is no picture");
  night.addFrame();
  night.addFrame();
  const damaged = await call(`/api/nights/${NIGHT_ID}/frames/0/thumb.jpg`);
  expect(damaged.status).toBe(422);
  expect(await damaged.json()).toMatchObject({ code: "image.unreadable" });
  const gone = await call(`/api/nights/${NIGHT_ID}/frames/1/image.jpg`);
  expect(gone.status).toBe(404);
});

test("draws the keogram of a range in one picture, with a hole where a file is missing", async () => {
  for (const index of [0, 2]) await writePicture(join(dir, "frames"), index);
  for (let index = 0; index < 3; index += 1) night.addFrame();
  const response = await call(`/api/nights/${NIGHT_ID}/keogram.png?from=0&count=10`);
  const image = sharp(Buffer.from(await response.arrayBuffer()));
  const { data, info } = await image.raw().toBuffer({ resolveWithObject: true });
  expect(info).toMatchObject({ width: 3, height: COLUMN_ROWS, channels: 4 });
  const pixel = (x: number, row: number): number[] => [
    ...data.subarray((row * 3 + x) * 4, (row * 3 + x) * 4 + 4),
  ];
  // The picture's arc of frame 0 stands at 60 % of its height, its dark ground below 82 %.
  const arc = pixel(0, Math.round(COLUMN_ROWS * 0.6));
  expect(arc[1]).toBeGreaterThan(120);
  expect(arc[1]).toBeGreaterThan(arc[2] ?? 0);
  expect(Math.max(...pixel(0, COLUMN_ROWS - 2).slice(0, 3))).toBeLessThan(20);
  expect([0, 1, 2].map((x) => pixel(x, 10)[3])).toEqual([255, 0, 255]);
});

test("keeps slices over a restart, and makes them again when the file has changed", async () => {
  await writePicture(join(dir, "frames"), 0);
  night.addFrame();
  const path = `/api/nights/${NIGHT_ID}/keogram.png`;
  const first = Buffer.from(await (await call(path)).arrayBuffer());
  await server.close();
  rmSync(join(dir, "frames"), { recursive: true });
  server = await startWebServer({
    port: 0,
    service: night,
    uiDir: dir,
    cacheDir: join(dir, "cache"),
  });
  expect(Buffer.from(await (await call(path)).arrayBuffer()).equals(first)).toBe(true);

  await server.close();
  const other = createFakeNight({ framesDir: join(dir, "frames") });
  other.addFrame({
    file: {
      ...night.frames(NIGHT_ID, { fromIndex: 0, count: 1 })[0]!.file!,
      sha256: "ff".repeat(32),
    },
  });
  server = await startWebServer({
    port: 0,
    service: other,
    uiDir: dir,
    cacheDir: join(dir, "cache"),
  });
  const stale = sharp(Buffer.from(await (await call(path)).arrayBuffer()));
  expect((await stale.raw().toBuffer())[3]).toBe(0);
});

test("gives 3,000 frames' curves and keogram in two requests", async () => {
  for (let index = 0; index < 3000; index += 1) night.addFrame({ file: null, status: "taken" });
  const curves = (await (await call(`/api/nights/${NIGHT_ID}/curves`)).json()) as {
    frameIndex: number[];
    exposureSeconds: number[];
  };
  expect(curves.frameIndex.length).toBe(3000);
  expect(curves.exposureSeconds[0]).toBe(7.43);
  const keogram = await call(`/api/nights/${NIGHT_ID}/keogram.png`);
  const { width } = await sharp(Buffer.from(await keogram.arrayBuffer())).metadata();
  expect(width).toBe(3000);
});

/** Collects what the socket says until `until` is satisfied. */
function listen(until: (messages: ServerMessage[]) => boolean): {
  done: Promise<ServerMessage[]>;
  opened: Promise<void>;
  socket: WebSocket;
} {
  const socket = new WebSocket(`ws://127.0.0.1:${server.port}/api/live`);
  const messages: ServerMessage[] = [];
  const opened = new Promise<void>((resolve, reject) => {
    socket.on("error", reject);
    socket.on("open", () => resolve());
  });
  const done = new Promise<ServerMessage[]>((resolve) => {
    socket.on("message", (data) => {
      messages.push(JSON.parse(String(data)) as ServerMessage);
      if (until(messages)) {
        socket.close();
        resolve(messages);
      }
    });
  });
  return { done, opened, socket };
}

test("pushes the state at once and each frame as it comes, all as documented", async () => {
  const { opened, done } = listen(
    (messages) => messages.filter(({ kind }) => kind === "frame").length === 3,
  );
  await opened;
  for (let index = 0; index < 3; index += 1) night.addFrame();
  const messages = await done;
  expect(messages[0]?.kind).toBe("state");
  for (const message of messages) {
    expect(v.safeParse(serverMessageSchema, message).success).toBe(true);
  }
});

test("joins a burst of 500 changes into a few state messages, the last one true", async () => {
  const isLast = (message: ServerMessage): boolean =>
    message.kind === "state" && message.state.watches[0]?.batteryPercent === 0;
  const { opened, done } = listen((messages) => messages.some(isLast));
  await opened;
  for (let left = 499; left >= 0; left -= 1) night.changeWatch({ batteryPercent: left / 10 });
  const messages = await done;
  expect(messages.length).toBeLessThan(20);
});

test("leaves frames out for a page that does not read, and gives it the newest state later", async () => {
  const isCaughtUp = (message: ServerMessage): boolean =>
    message.kind === "state" && message.state.watches[0]?.frameCount === 3000;
  const { opened, socket, done } = listen((messages) => messages.some(isCaughtUp));
  await opened;
  socket.pause();
  // 60 MB of frames, far more than a connection holds, for a page that reads none of them.
  const reasons = ["x".repeat(20_000)];
  for (let index = 0; index < 3000; index += 1) night.addFrame({ reasons, file: null });
  expect((await call("/api/state")).status).toBe(200);
  socket.resume();
  const messages = await done;
  expect(messages.filter(({ kind }) => kind === "frame").length).toBeLessThan(1500);
});

test("releases its listeners and its port when it closes", async () => {
  const { port } = server;
  await server.close();
  expect(night.listenerCount()).toBe(0);
  server = await startWebServer({ port, service: night, uiDir: dir });
  expect(server.port).toBe(port);
});

import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

import sharp from "sharp";
import { afterEach, beforeEach, expect, test } from "vitest";

import { startWebServer, type WebServer } from "../../../controller/web/server.ts";
import { createFakeNight, writePicture } from "../../support/fakeNight.ts";
import { makeFrame, NIGHT_ID } from "../../support/madeUpNight.ts";

let dir: string;
let server: WebServer;

/** Frames 0 of both cameras: a small picture of the first, a wide one of the second. */
beforeEach(async () => {
  dir = mkdtempSync(join(tmpdir(), "nattvakt-two-"));
  const framesDir = join(dir, "frames");
  const night = createFakeNight({ framesDir, cameraIds: ["camera-1", "camera-2"] });
  server = await startWebServer({
    port: 0,
    service: night,
    uiDir: join(dir, "ui"),
    cacheDir: join(dir, "cache"),
  });
  await writePicture(framesDir, 0, { width: 300, height: 200 });
  await writePicture(framesDir, 7, { width: 640, height: 200 });
  const { file } = makeFrame({ frameIndex: 7 });
  night.addFrame({ cameraId: "camera-1", reasons: ["of the first"] });
  night.addFrame({ cameraId: "camera-2", reasons: ["of the second"], file });
  night.addFrame({ cameraId: "camera-2", reasons: ["of the second"], file: null });
});

afterEach(async () => {
  await server.close();
  rmSync(dir, { recursive: true, force: true });
});

const base = `/api/nights/${NIGHT_ID}`;

function call(path: string): Promise<Response> {
  return fetch(new URL(`${base}${path}`, server.address));
}

test.each([
  ["", "of the first", 1, 300],
  ["camera=camera-1", "of the first", 1, 300],
  ["camera=camera-2", "of the second", 2, 640],
])("gives with %j frame 0 that is %s, %i in all", async (query, reason, count, widthPx) => {
  const frame = (await (await call(`/frames/0?${query}`)).json()) as { reasons: string[] };
  expect(frame.reasons).toEqual([reason]);
  expect(await (await call(`/frames?${query}`)).json()).toHaveLength(count);
  const curves = (await (await call(`/curves?${query}`)).json()) as { frameIndex: number[] };
  expect(curves.frameIndex).toHaveLength(count);
  const image = await (await call(`/frames/0/image.jpg?${query}`)).arrayBuffer();
  expect((await sharp(Buffer.from(image)).metadata()).width).toBe(widthPx);
  const keogram = await (await call(`/keogram.png?${query}`)).arrayBuffer();
  expect((await sharp(Buffer.from(keogram)).metadata()).width).toBe(count);
});

test("keeps the two cameras' slices of the same index apart", async () => {
  const slice = async (camera: string): Promise<Buffer> =>
    Buffer.from(await (await call(`/frames/0/column.png?camera=${camera}`)).arrayBuffer());
  const [first, second, again] = [
    await slice("camera-1"),
    await slice("camera-2"),
    await slice("camera-1"),
  ];
  expect(first.equals(second)).toBe(false);
  expect(first.equals(again)).toBe(true);
});

test("knows no frame of a camera that the night did not have", async () => {
  expect((await call("/frames/0?camera=camera-3")).status).toBe(404);
  expect((await call("/frames/0/thumb.jpg?camera=camera-3")).status).toBe(404);
  expect(await (await call("/frames?camera=camera-3")).json()).toEqual([]);
});

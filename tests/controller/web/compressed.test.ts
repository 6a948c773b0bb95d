import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { get } from "node:http";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { brotliDecompressSync, gunzipSync } from "node:zlib";

import { afterEach, beforeEach, expect, test } from "vitest";

import { startWebServer, type WebServer } from "../../../controller/web/server.ts";
import { createFakeNight } from "../../support/fakeNight.ts";

let dir: string;
let server: WebServer;

beforeEach(async () => {
  dir = mkdtempSync(join(tmpdir(), "nattvakt-packed-"));
  mkdirSync(join(dir, "assets"));
  writeFileSync(join(dir, "index.html"), "<!doctype html>");
  writeFileSync(join(dir, "assets", "page-1.js"), "const night = 1;\n".repeat(500));
  const night = createFakeNight();
  for (let index = 0; index < 40; index += 1) night.addFrame();
  server = await startWebServer({ port: 0, service: night, uiDir: dir });
});

afterEach(async () => {
  await server.close();
  rmSync(dir, { recursive: true, force: true });
});

type Answered = { encoding: string | undefined; bytes: Buffer; status: number | undefined };

function ask(path: string, accepts: string): Promise<Answered> {
  const headers = { "accept-encoding": accepts };
  return new Promise((resolve, reject) => {
    get(new URL(path, server.address), { headers }, (response) => {
      const parts: Buffer[] = [];
      response.on("data", (part: Buffer) => parts.push(part));
      response.on("end", () =>
        resolve({
          encoding: response.headers["content-encoding"],
          bytes: Buffer.concat(parts),
          status: response.statusCode,
        }),
      );
    }).on("error", reject);
  });
}

test("packs a night's frames for who takes it, and sends them as they are to who does not", async () => {
  const { nightId } = createFakeNight().nights()[0]!;
  const path = `/api/nights/${nightId}/frames?count=40`;
  const [packed, plain] = [await ask(path, "gzip, br"), await ask(path, "identity")];
  expect([packed.encoding, plain.encoding]).toEqual(["gzip", undefined]);
  expect(gunzipSync(packed.bytes)).toEqual(plain.bytes);
  expect(packed.bytes.length).toBeLessThan(plain.bytes.length / 5);
});

test("packs the page's scripts, and looks for none outside of their folder", async () => {
  const script = await ask("/assets/page-1.js", "gzip, br");
  expect(script.encoding).toBe("br");
  expect(brotliDecompressSync(script.bytes).toString()).toContain("const night = 1;");
  expect((await ask("/assets/page-1.js", "identity")).encoding).toBeUndefined();
  expect((await ask("/assets/..%2findex.js", "br")).status).toBe(404);
});

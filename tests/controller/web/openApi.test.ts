import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

import { Ajv2020 } from "ajv/dist/2020.js";
import * as v from "valibot";
import { afterAll, beforeAll, expect, test } from "vitest";

import type { Route } from "../../../controller/web/route.ts";
import { startWebServer, type WebServer } from "../../../controller/web/server.ts";
import { createFakeNight, writePicture } from "../../support/fakeNight.ts";
import { NIGHT_ID } from "../../support/madeUpNight.ts";

type Operation = {
  summary: string;
  operationId: string;
  parameters: { name: string; in: string; schema: object }[];
  responses: Record<string, { content?: Record<string, { schema?: object }> }>;
  requestBody?: { content: { "application/json": { schema: object } } };
};
type Document = {
  openapi: string;
  paths: Record<string, Record<string, Operation>>;
  components: { schemas: { Error: object } };
};

const extra: Route = {
  method: "put",
  path: "/api/extra/:name",
  summary: "A route of another part.",
  part: "Extra",
  body: v.object({ count: v.pipe(v.number("count must be a number."), v.minValue(1)) }),
  answer: { kind: "json", schema: v.object({ name: v.string(), count: v.number() }) },
  handle: ({ params, body }) => ({ name: params["name"], ...(body as { count: number }) }),
};

let dir: string;
let server: WebServer;
let document: Document;

beforeAll(async () => {
  dir = mkdtempSync(join(tmpdir(), "nattvakt-api-"));
  const night = createFakeNight({ framesDir: join(dir, "frames") });
  await writePicture(join(dir, "frames"), 0);
  night.addFrame();
  server = await startWebServer({ port: 0, service: night, uiDir: dir, extraRoutes: [extra] });
  const response = await fetch(new URL("/api/openapi.json", server.address));
  document = (await response.json()) as Document;
});

afterAll(async () => {
  await server.close();
  rmSync(dir, { recursive: true, force: true });
});

function operations(): [path: string, method: string, operation: Operation][] {
  return Object.entries(document.paths).flatMap(([path, methods]) =>
    Object.entries(methods).map(([method, operation]): [string, string, Operation] => [
      path,
      method,
      operation,
    ]),
  );
}

const EXAMPLES: Record<string, string> = {
  nightId: NIGHT_ID,
  frameIndex: "0",
  cameraId: "virtual",
  name: "one",
};

test("is OpenAPI 3.1, with every operation named once", () => {
  expect(document.openapi).toBe("3.1.0");
  const ids = operations().map(([, , { operationId }]) => operationId);
  expect(new Set(ids).size).toBe(ids.length);
  expect(ids.length).toBeGreaterThanOrEqual(15);
});

test("describes the routes of other parts too", () => {
  expect(document.paths["/api/extra/{name}"]?.["put"]?.summary).toBe("A route of another part.");
});

test("every documented operation exists, and answers as its document says", async () => {
  const ajv = new Ajv2020({ strict: false });
  for (const [path, method, operation] of operations()) {
    if (path === "/api/live") continue;
    const url = path.replaceAll(/\{(\w+)\}/g, (_, name: string) => EXAMPLES[name] ?? "missing");
    const response = await fetch(new URL(url, server.address), {
      method: method.toUpperCase(),
      ...(operation.requestBody === undefined
        ? {}
        : {
            headers: { "content-type": "application/json" },
            body: JSON.stringify(path.includes("extra") ? { count: 2 } : { isoMax: 6400 }),
          }),
    });
    const name = `${method} ${path}`;
    // A command that the watch cannot follow now is a documented answer as well.
    const isError = !response.ok;
    if (isError) expect(response.status, name).toBeLessThan(404);
    const described = isError ? operation.responses["default"] : operation.responses["200"];
    const mediaType = (response.headers.get("content-type") ?? "").split(";")[0] ?? "";
    expect(Object.keys(described?.content ?? {}), name).toContain(mediaType);
    if (mediaType !== "application/json") continue;
    const schema = isError
      ? document.components.schemas.Error
      : described?.content?.[mediaType]?.schema;
    const isValid = ajv.compile(schema ?? false);
    expect(isValid(await response.json()), `${name}: ${ajv.errorsText(isValid.errors)}`).toBe(true);
  }
});

test("a route's body is checked by the schema that documents it", async () => {
  const response = await fetch(new URL("/api/extra/one", server.address), {
    method: "PUT",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ count: "two" }),
  });
  expect(response.status).toBe(400);
  expect(await response.json()).toEqual({
    code: "usage.invalid",
    sentence: "count must be a number.",
  });
});

import { toJsonSchema } from "@valibot/to-json-schema";
import type { GenericSchema } from "valibot";

import { errorAnswerSchema, serverMessageSchema } from "../../core/api/schemas.ts";
import { LIVE_PATH } from "./liveSocket.ts";
import type { Route } from "./route.ts";

/**
 * The API as an OpenAPI 3.1 document, written from the routes themselves.
 *
 * @param server  Where it is served, as in `http://127.0.0.1:8420`.
 */
export function openApiDocument(
  routes: readonly Route[],
  options: { version: string; server: string },
): object {
  const paths: Record<string, Record<string, object>> = {
    [LIVE_PATH]: { get: liveOperation() },
  };
  for (const route of routes) {
    const path = documentPath(route.path);
    paths[path] = { ...paths[path], [route.method]: operation(route) };
  }
  return {
    openapi: "3.1.0",
    info: {
      title: "Nattvakt",
      version: options.version,
      description:
        "What the daemon tells and takes, for its own page and for any program on this machine. " +
        "It answers on loopback only, to its own Host and Origin. Every error is a JSON object " +
        "with a stable code and one sentence.",
    },
    servers: [{ url: options.server }],
    paths,
    components: { schemas: { Error: jsonSchema(errorAnswerSchema) } },
  };
}

/** `/api/nights/:nightId` as `/api/nights/{nightId}`. */
function documentPath(path: string): string {
  return path.replaceAll(/:(\w+)/g, "{$1}");
}

function operation(route: Route): object {
  const names = [...route.path.matchAll(/:(\w+)/g)].map((match) => match[1] ?? "");
  const inPath = names.map((name) => ({
    name,
    in: "path",
    required: true,
    schema: { type: "string" },
  }));
  const inQuery = Object.entries(route.query ?? {}).map(([name, schema]) => ({
    name,
    in: "query",
    required: schema.type !== "optional",
    schema: jsonSchema(schema),
  }));
  const body = route.bodyInDocument ?? route.body;
  return {
    summary: route.summary,
    tags: [route.part],
    operationId: operationId(route),
    parameters: [...inPath, ...inQuery],
    ...(body === undefined
      ? {}
      : {
          requestBody: {
            required: true,
            content: { "application/json": { schema: jsonSchema(body) } },
          },
        }),
    responses: {
      "200": answerOf(route),
      default: {
        description: "One sentence that says what is wrong.",
        content: { "application/json": { schema: { $ref: "#/components/schemas/Error" } } },
      },
    },
  };
}

function operationId(route: Route): string {
  const words = route.path
    .split(/[/:.]/)
    .filter((word) => word !== "" && word !== "api")
    .map((word) => word.charAt(0).toUpperCase() + word.slice(1));
  return route.method + words.join("");
}

function answerOf({ answer }: Route): object {
  if (answer.kind === "file") {
    return { description: answer.what, content: { [answer.mediaType]: {} } };
  }
  return {
    description: answer.name ?? "the answer",
    content: { "application/json": { schema: jsonSchema(answer.schema) } },
  };
}

function liveOperation(): object {
  return {
    summary: "A web socket that pushes the state and every frame.",
    tags: ["Watch"],
    operationId: "getLive",
    description:
      "The state comes at least every two seconds. A listener that reads slowly misses messages, " +
      "never the newest state; it finds what it missed by the frames' indices.",
    "x-messages": jsonSchema(serverMessageSchema),
    responses: {
      "101": { description: "The socket is open; each text message is one JSON object." },
    },
  };
}

/** What goes over the wire: of a schema that transforms, its input. */
function jsonSchema(schema: GenericSchema): object {
  const inDraft = toJsonSchema(schema, {
    typeMode: "input",
    errorMode: "ignore",
    target: "draft-2020-12",
  });
  // The document as a whole has one dialect; a part of it may not name its own.
  return Object.fromEntries(Object.entries(inDraft).filter(([key]) => key !== "$schema"));
}

import type { Express, NextFunction, Request, Response } from "express";
import type { GenericSchema } from "valibot";
import * as v from "valibot";

import { NightError } from "../../core/errors.ts";
import { sendJson } from "./compressed.ts";

/** What a route answers with when all goes well. */
type Answer =
  | { readonly kind: "json"; readonly schema: GenericSchema; readonly name?: string }
  | { readonly kind: "file"; readonly mediaType: string; readonly what: string };

/**
 * One entry of the API, declared once: the server registers it and the API's document describes it
 * from the same value, so the two cannot disagree.
 */
export type Route = {
  readonly method: "get" | "post" | "put" | "patch" | "delete";
  /** Begins with `/api/`; parameters as in `/api/nights/:nightId`. */
  readonly path: string;
  readonly summary: string;
  /** Part of the program that it belongs to: groups the document. */
  readonly part: string;
  /** Query parameters by name; each schema takes the string as it came in. */
  readonly query?: Readonly<Record<string, GenericSchema>>;
  readonly body?: GenericSchema;
  /** The body as the document shows it, where the handler checks it more closely than a schema can. */
  readonly bodyInDocument?: GenericSchema;
  readonly answer: Answer;
  /** A JSON route returns what to send; a file route writes to the response itself. */
  readonly handle: (request: RouteRequest, response: Response) => unknown;
};

/** A request whose query and body have already passed the route's schemas. */
export type RouteRequest = {
  readonly params: Readonly<Record<string, string>>;
  readonly query: Readonly<Record<string, unknown>>;
  readonly body: unknown;
  /** Ends when the caller goes away. */
  readonly signal: AbortSignal;
  readonly headers: Request["headers"];
};

/** A whole number in a query, as in `?from=0`, with its limits and its default. */
export function wholeNumber(
  name: string,
  options: { min: number; max: number; byDefault: number },
) {
  const sentence = `${name} must be a whole number from ${options.min} to ${options.max}.`;
  return v.optional(
    v.pipe(
      v.string(sentence),
      v.regex(/^\d{1,15}$/, sentence),
      v.transform(Number),
      v.minValue(options.min, sentence),
      v.maxValue(options.max, sentence),
    ),
    String(options.byDefault),
  );
}

/** A path parameter as a frame's index. @throws NightError `web.not_found` for anything else. */
export function frameIndexOf(params: RouteRequest["params"]): number {
  const text = params["frameIndex"] ?? "";
  if (!/^\d{1,9}$/.test(text)) {
    throw new NightError("web.not_found", `There is no frame ${JSON.stringify(text)}.`);
  }
  return Number(text);
}

/** Registers the routes; errors go to the express error handler. */
export function registerRoutes(app: Express, routes: readonly Route[]): void {
  for (const route of routes) {
    app[route.method](
      route.path,
      async (request: Request, response: Response, next: NextFunction) => {
        try {
          await answer(route, request, response);
        } catch (thrown) {
          next(thrown);
        }
      },
    );
  }
}

async function answer(route: Route, request: Request, response: Response): Promise<void> {
  const gone = new AbortController();
  response.on("close", () => gone.abort());
  const query = checked(v.object(route.query ?? {}), request.query) as Record<string, unknown>;
  const body = route.body === undefined ? undefined : checked(route.body, request.body ?? {});
  const result = await route.handle(
    {
      params: request.params as Record<string, string>,
      query,
      body,
      signal: gone.signal,
      headers: request.headers,
    },
    response,
  );
  if (route.answer.kind === "json" && !response.headersSent) {
    response.set("Cache-Control", "no-store");
    await sendJson(request, response, result);
  }
}

function checked(schema: GenericSchema, value: unknown): unknown {
  const parsed = v.safeParse(schema, value);
  if (parsed.success) return parsed.output;
  const issue = parsed.issues[0];
  throw new NightError("usage.invalid", issue.message, { path: v.getDotPath(issue) });
}

import { createServer, type IncomingMessage, type Server, type ServerResponse } from "node:http";
import type { AddressInfo } from "node:net";
import { join } from "node:path";

import express, { type ErrorRequestHandler, type Express, type RequestHandler } from "express";
import helmet from "helmet";

import { asNightError, NightError, type ErrorCode } from "../../core/errors.ts";
import { ClientBounds } from "./clientBounds.ts";
import { packedFiles } from "./compressed.ts";
import { sendNoSuchPage, sendWaitingPage } from "./darkPage.ts";
import { FrameImages } from "./frameImages.ts";
import { KeogramStore } from "./keogramStore.ts";
import { attachLiveSocket } from "./liveSocket.ts";
import { metricsHandler } from "./metricsAccess.ts";
import { nightRoutes } from "./nightRoutes.ts";
import type { NightService } from "../night/nightService.ts";
import { openApiDocument } from "./openApi.ts";
import type { PageState } from "../pageBuildProcess.ts";
import { refusal } from "./originGuard.ts";
import { PAGE_GROUND_HASH } from "./pageGround.ts";
import { registerRoutes, type Route } from "./route.ts";
import { watchRoutes } from "./watchRoutes.ts";

/** A body beyond this is no setting of ours. */
const BODY_BYTES_MAX = 64 * 1024;

/** Loopback only: nobody else on a hut's network may touch the camera. */
const ADDRESS = "127.0.0.1";

type WebServerOptions = {
  /** Where it listens: a door that is open already, or a port; 0: any free one. */
  readonly port: number | Server;
  readonly service: NightService;
  /** Folder of the built page; when it is not there, the API works and says so. */
  readonly uiDir: string;
  /** How far the page is; left out: it is built, or never will be. */
  readonly pageState?: () => PageState;
  /** Folder for what can be made again, such as keogram slices; null: memory only. */
  readonly cacheDir?: string;
  /** Routes of the other parts of the program: plan, checklist, deliver. */
  readonly extraRoutes?: readonly Route[];
  /** Opens `/metrics`; left out: there are no figures. */
  readonly metricsToken?: string;
  /** Called with errors that are bugs; the caller gets one sentence either way. */
  readonly log?: (event: string, fields: Readonly<Record<string, unknown>>) => void;
};

export type WebServer = {
  readonly port: number;
  /** Where the page is, as in `http://127.0.0.1:8420/`. */
  readonly address: string;
  /** Ends every connection; resolves when none is left. */
  readonly close: () => Promise<void>;
};

/**
 * Listens on loopback before there is anything to serve, so that a port that is taken is found out
 * before anything else is touched.
 *
 * @param port  0: any free one.
 * @throws NightError `port.taken` with one sentence.
 */
export async function openDoor(port: number): Promise<Server> {
  const door = createServer(notYet);
  // Slow or silent callers are let go; the page's socket is not bound by these.
  door.headersTimeout = 10_000;
  door.requestTimeout = 30_000;
  await listen(door, port);
  return door;
}

/** Anyone who comes while the program is still being put together may try again. */
function notYet({ url }: IncomingMessage, response: ServerResponse): void {
  if (url === "/") return sendWaitingPage(response, "Nattvakt is starting.");
  response.writeHead(503, { "retry-after": "1" }).end("Nattvakt is starting.\n");
}

/**
 * Serves the page and the API.
 *
 * @throws NightError `port.taken` with one sentence.
 */
export async function startWebServer(options: WebServerOptions): Promise<WebServer> {
  const { service } = options;
  const images = new FrameImages();
  const keograms = new KeogramStore(images, options.cacheDir ?? null);
  const app = express();
  const server = typeof options.port === "number" ? await openDoor(options.port) : options.port;
  const { port } = server.address() as AddressInfo;

  const routes: readonly Route[] = [
    ...nightRoutes({ service, images, keograms }),
    ...watchRoutes(service),
    ...(options.extraRoutes ?? []),
  ];
  const bounds = new ClientBounds();
  bounds.watch(server);
  addRoutes(app, routes, options, { port, bounds });
  server.removeListener("request", notYet).on("request", app);
  const live = attachLiveSocket(server, service, port);
  const stopPreparing = prepareSlices(service, keograms);

  return {
    port,
    address: `http://${ADDRESS}:${port}/`,
    close: async () => {
      stopPreparing();
      live.close();
      const closed = new Promise<void>((resolve) => server.close(() => resolve()));
      server.closeIdleConnections();
      setTimeout(() => server.closeAllConnections(), 500).unref();
      await closed;
      await keograms.close();
    },
  };
}

function addRoutes(
  app: Express,
  routes: readonly Route[],
  options: WebServerOptions,
  { port, bounds }: { readonly port: number; readonly bounds: ClientBounds },
): void {
  app.disable("x-powered-by");
  app.use((request, response, next) => {
    if (bounds.admits(request, response)) next();
  });
  app.set("query parser", "simple");
  app.use(onlyOwnPage(port));
  app.use(safeHeaders(port));
  app.use("/api", express.json({ limit: BODY_BYTES_MAX, strict: true }));
  app.get("/api/openapi.json", (_request, response) => {
    const { version } = options.service.view();
    response.json(openApiDocument(routes, { version, server: `http://${ADDRESS}:${port}` }));
  });
  registerRoutes(app, routes);
  if (options.metricsToken !== undefined) {
    app.get("/metrics", metricsHandler(options.service, options.metricsToken));
  }
  app.use("/api", (request, _response, next) => {
    next(
      new NightError("web.not_found", `The API has no ${request.method} ${request.originalUrl}.`),
    );
  });
  servePage(app, options);
  app.use(errorAnswer(options.log));
}

function servePage(app: Express, { uiDir, pageState }: WebServerOptions): void {
  // An older page may lie there; it knows another API, and would not ask again by itself.
  app.get("/", (_request, response, next) => {
    if (pageState?.() !== "building") return next();
    sendWaitingPage(
      response,
      "The page is being built for the first time; the watch does not wait for it. It opens here in a few seconds.",
    );
  });
  // Names of built scripts and styles carry their content's hash; the page itself does not.
  app.use("/assets", packedFiles(join(uiDir, "assets")));
  app.use("/assets", express.static(`${uiDir}/assets`, { immutable: true, maxAge: "365d" }));
  app.use(express.static(uiDir, { cacheControl: false, index: "index.html" }));
  app.use((request, response, next) => {
    if (request.path !== "/") {
      if (request.accepts(["json", "html"]) === "html") return sendNoSuchPage(response);
      return next(new NightError("web.not_found", `There is no page ${request.path}.`));
    }
    response
      .status(503)
      .type("text")
      .send("The page has not been built yet: run `npm run build`, then load this again.\n");
  });
}

function onlyOwnPage(port: number): RequestHandler {
  return (request, _response, next) => {
    const reason = refusal(request, port);
    next(reason === null ? undefined : new NightError("web.refused", reason));
  };
}

function safeHeaders(port: number): RequestHandler {
  const sockets = (): string =>
    ["127.0.0.1", "localhost"].map((host) => `ws://${host}:${port}`).join(" ");
  return helmet({
    contentSecurityPolicy: {
      useDefaults: false,
      directives: {
        defaultSrc: ["'none'"],
        scriptSrc: ["'self'"],
        styleSrc: ["'self'", PAGE_GROUND_HASH],
        imgSrc: ["'self'", "blob:"],
        mediaSrc: ["'self'"],
        fontSrc: ["'self'"],
        manifestSrc: ["'self'"],
        connectSrc: ["'self'", sockets],
        formAction: ["'none'"],
        frameAncestors: ["'none'"],
        baseUri: ["'none'"],
      },
    },
    // Loopback is plain HTTP; a promise of HTTPS would lock the page out.
    strictTransportSecurity: false,
    referrerPolicy: { policy: "no-referrer" },
    crossOriginResourcePolicy: { policy: "same-origin" },
  });
}

/** Express tells its error handlers by their four parameters. */
function errorAnswer(log: WebServerOptions["log"]): ErrorRequestHandler {
  return (thrown: unknown, request, response, next) => {
    if (response.headersSent) return next(thrown);
    const error = asAnswerable(thrown);
    const status = STATUS[error.code] ?? statusByRecovery(error);
    if (status >= 500) {
      log?.("web.failed", { path: request.path, code: error.code, sentence: error.message });
    }
    const sentence =
      error.recovery === "bug"
        ? "Something went wrong inside the program; the night goes on, and the log says more."
        : error.message;
    response.status(status).set("Cache-Control", "no-store");
    response.removeHeader("ETag");
    response.json({ code: error.code, sentence });
  };
}

/** What body parser and static files throw, in our own words. */
function asAnswerable(thrown: unknown): NightError {
  if (thrown instanceof NightError) return thrown;
  const type = (thrown as { type?: unknown }).type;
  if (type === "entity.too.large") {
    return new NightError(
      "web.refused",
      `A request may carry ${BODY_BYTES_MAX / 1024} kB at most.`,
    );
  }
  if (type === "entity.parse.failed") {
    return new NightError("usage.invalid", "The request's body is not valid JSON.");
  }
  const status = (thrown as { status?: unknown }).status;
  if (typeof status === "number" && status >= 400 && status < 500) {
    return new NightError("usage.invalid", "The request cannot be understood.");
  }
  return asNightError(thrown);
}

const STATUS: Partial<Record<ErrorCode, number>> = {
  "web.refused": 403,
  "web.not_found": 404,
  "archive.not_found": 404,
  "archive.disk_full": 507,
  "image.unreadable": 422,
  "quantity.out_of_range": 400,
};

function statusByRecovery(error: NightError): number {
  if (error.recovery === "usage") return 400;
  return error.recovery === "bug" ? 500 : 409;
}

/** Keogram slices are made as the frames come, so that the strip is there when a page opens. */
function prepareSlices(service: NightService, keograms: KeogramStore): () => void {
  return service.subscribe((message) => {
    if (message.kind !== "frame" || message.frame.file === null) return;
    const { nightId, frame } = message;
    keograms
      .prepare(nightId, frame, (index) => service.framePath(nightId, index, frame.cameraId))
      // Made again when the page asks; a picture that cannot be read is said where it is shown.
      .catch(() => undefined);
  });
}

async function listen(server: Server, port: number): Promise<void> {
  await new Promise<void>((resolve, reject) => {
    server.once("error", (error: NodeJS.ErrnoException) => {
      if (error.code === "EADDRINUSE" || error.code === "EACCES") {
        const why =
          error.code === "EADDRINUSE"
            ? "is taken, perhaps by a Nattvakt that runs already"
            : "may not be used by this account";
        reject(
          new NightError(
            "port.taken",
            `Port ${port} ${why}; choose another with --port.`,
            { port },
            { cause: error },
          ),
        );
      } else {
        reject(error);
      }
    });
    server.listen(port, ADDRESS, resolve);
  });
}

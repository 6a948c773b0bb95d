import { randomBytes, timingSafeEqual } from "node:crypto";
import { mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import type { RequestHandler } from "express";
import { metricsText } from "../../core/api/nightMetrics.ts";
import { NightError } from "../../core/errors.ts";
import { writeDurablySync } from "../durableWrite.ts";
import type { NightService } from "../night/nightService.ts";

/** In the data folder, readable by its owner alone: what the collector of the figures must know. */
const METRICS_TOKEN_FILE = "metrics-token";
const TOKEN_BYTES = 24;
/** Source: "Exposition formats", prometheus.io/docs. */
const MEDIA_TYPE = "text/plain; version=0.0.4; charset=utf-8";

/** The token that was made for this data folder, or a new one. It opens the figures and nothing else. */
export function metricsToken(dataDir: string): string {
  const file = join(dataDir, METRICS_TOKEN_FILE);
  try {
    const token = readFileSync(file, "utf8").trim();
    if (token !== "") return token;
  } catch (thrown) {
    if ((thrown as NodeJS.ErrnoException).code !== "ENOENT") throw thrown;
  }
  const token = randomBytes(TOKEN_BYTES).toString("base64url");
  mkdirSync(dataDir, { recursive: true });
  writeDurablySync(file, `${token}\n`, { mode: 0o600 });
  return token;
}

/** Answers `GET /metrics` to anyone who sends the token as a bearer. */
export function metricsHandler(service: NightService, token: string): RequestHandler {
  return (request, response, next) => {
    const given = /^Bearer (\S+)$/.exec(request.headers.authorization ?? "")?.[1] ?? "";
    if (!isSame(given, token)) {
      return next(
        new NightError(
          "web.refused",
          `The figures need the token in ${METRICS_TOKEN_FILE} of the data folder, sent as "Authorization: Bearer TOKEN".`,
        ),
      );
    }
    response.set({ "Content-Type": MEDIA_TYPE, "Cache-Control": "no-store" });
    response.send(metricsText(service.view()));
  };
}

function isSame(given: string, token: string): boolean {
  const [one, other] = [Buffer.from(given), Buffer.from(token)];
  return one.length === other.length && timingSafeEqual(one, other);
}

import { existsSync, readFileSync, statSync } from "node:fs";
import { extname, join, normalize, sep } from "node:path";
import { promisify } from "node:util";
import { brotliCompress, constants, gzip } from "node:zlib";

import type { Request, RequestHandler, Response } from "express";

const gzipped = promisify(gzip);
const brotlied = promisify(brotliCompress);

/** Below this, the packing costs more than it saves: one packet either way. */
const BYTES_MIN = 1400;
/** Answers are made for every request: quick rather than small. */
const ANSWER_LEVEL = 4;
/** The page's files are packed once: small rather than quick. */
const PAGE_QUALITY = 9;

/** Sends JSON, packed where the caller takes it; the packing runs beside the program, not in it. */
export async function sendJson(
  request: Request,
  response: Response,
  value: unknown,
): Promise<void> {
  const text = JSON.stringify(value ?? null);
  response.type("json").vary("Accept-Encoding");
  if (text.length < BYTES_MIN || !request.acceptsEncodings("gzip")) {
    response.send(text);
    return;
  }
  const packed = await gzipped(text, { level: ANSWER_LEVEL });
  if (response.destroyed) return;
  response.set("Content-Encoding", "gzip").send(packed);
}

const TYPES: Readonly<Record<string, string>> = {
  ".js": "text/javascript; charset=utf-8",
  ".css": "text/css; charset=utf-8",
  ".svg": "image/svg+xml",
};

/** Serves the built page's scripts and styles packed; what it cannot is left to the next handler. */
export function packedFiles(dir: string): RequestHandler {
  const packed = new Map<string, { readonly mtimeMs: number; readonly bytes: Promise<Buffer> }>();
  return (request, response, next) => {
    const type = TYPES[extname(request.path)];
    const path = normalize(join(dir, request.path));
    const isOurs = type !== undefined && path.startsWith(dir + sep) && existsSync(path);
    if (request.method !== "GET" || !isOurs || !request.acceptsEncodings("br")) return next();
    const { mtimeMs } = statSync(path);
    let one = packed.get(path);
    if (one?.mtimeMs !== mtimeMs) {
      const options = { params: { [constants.BROTLI_PARAM_QUALITY]: PAGE_QUALITY } };
      one = { mtimeMs, bytes: brotlied(readFileSync(path), options) };
      packed.set(path, one);
    }
    one.bytes.then((bytes) => {
      // Names of built files carry their content's hash.
      response.set("Cache-Control", "public, max-age=31536000, immutable");
      response.vary("Accept-Encoding").set("Content-Encoding", "br").set("Content-Type", type);
      response.end(bytes);
    }, next);
  };
}

import { createHash } from "node:crypto";
import type { ServerResponse } from "node:http";

/** How soon the browser asks again. */
const RETRY_SECONDS = 2;

/** The page's own colours by night, so that anyone who waits for it keeps dark-adapted eyes. */
const STYLE = `html{color-scheme:dark;background:#000;color:#f00;font:1.25rem system-ui,sans-serif}
body{margin:20vh auto 0;max-width:32rem;padding:0 1rem}`;

/** Nothing but that one style. */
const POLICY = [
  "default-src 'none'",
  `style-src 'sha256-${createHash("sha256").update(STYLE).digest("base64")}'`,
  "base-uri 'none'",
  "form-action 'none'",
  "frame-ancestors 'none'",
].join("; ");

/** Answers with a small dark page that says why there is nothing to see yet and asks again by itself. */
export function sendWaitingPage(response: ServerResponse, sentence: string): void {
  response.writeHead(503, {
    "content-type": "text/html; charset=utf-8",
    "content-security-policy": POLICY,
    "cache-control": "no-store",
    "retry-after": String(RETRY_SECONDS),
  }).end(`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="dark">
<meta name="theme-color" content="#000000">
<meta http-equiv="refresh" content="${RETRY_SECONDS}">
<title>Nattvakt</title>
<style>${STYLE}</style>
</head>
<body><p>${sentence}</p></body>
</html>
`);
}

import { createHash } from "node:crypto";
import type { ServerResponse } from "node:http";

/** How soon the browser asks again. */
const RETRY_SECONDS = 2;

/** The page's own colours by night, so that anyone who waits for it, or misses it, keeps dark-adapted eyes. */
const STYLE = `html{color-scheme:dark;background:#000;color:#f00;font:1.25rem system-ui,sans-serif}
body{margin:20vh auto 0;max-width:32rem;padding:0 1rem}a{color:inherit}`;

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
  send(response, 503, {
    headers: { "retry-after": String(RETRY_SECONDS) },
    head: `<meta http-equiv="refresh" content="${RETRY_SECONDS}">`,
    body: `<p>${sentence}</p>`,
  });
}

/** Answers a browser that followed a wrong address, in the dark as well. */
export function sendNoSuchPage(response: ServerResponse): void {
  const body = `<p>There is no such page here.</p><p><a href="/">Open Nattvakt's page</a></p>`;
  send(response, 404, { headers: {}, head: "", body });
}

function send(
  response: ServerResponse,
  status: number,
  page: {
    readonly headers: Readonly<Record<string, string>>;
    readonly head: string;
    readonly body: string;
  },
): void {
  response.writeHead(status, {
    "content-type": "text/html; charset=utf-8",
    "content-security-policy": POLICY,
    "cache-control": "no-store",
    ...page.headers,
  }).end(`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="dark">
<meta name="theme-color" content="#000000">
${page.head}
<title>Nattvakt</title>
<style>${STYLE}</style>
</head>
<body>${page.body}</body>
</html>
`);
}

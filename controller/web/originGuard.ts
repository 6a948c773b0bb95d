import type { IncomingMessage } from "node:http";

/**
 * Whether a request may be answered: only for this machine's own names and our own port.
 *
 * The server listens on loopback, but a foreign page in the photographer's browser can still send
 * to it, directly (its Origin gives it away) or by a name that it lets point here (its Host does).
 *
 * @returns null when it may, else the reason as one sentence.
 */
export function refusal(request: IncomingMessage, port: number): string | null {
  const host = request.headers.host ?? "";
  const names = ownHosts(port);
  if (!names.includes(host.toLowerCase())) {
    return `This program answers to ${names[0]} only, not to ${JSON.stringify(host)}.`;
  }
  const { origin } = request.headers;
  if (origin !== undefined && !ownOrigins(port).includes(origin.toLowerCase())) {
    return `A page from ${JSON.stringify(origin)} may not use this program.`;
  }
  // Browsers say where a request comes from even when they send no Origin, as for images. A link
  // that is followed by hand is harmless: it only opens our own page; a form that is sent is not.
  const site = request.headers["sec-fetch-site"];
  const isNavigation = request.method === "GET" && request.headers["sec-fetch-mode"] === "navigate";
  if ((site === "cross-site" || site === "same-site") && !isNavigation) {
    return "Another page may not use this program.";
  }
  return null;
}

function ownHosts(port: number): readonly string[] {
  const hosts = [`localhost:${port}`, `127.0.0.1:${port}`, `[::1]:${port}`];
  return port === 80 ? [...hosts, "localhost", "127.0.0.1", "[::1]"] : hosts;
}

function ownOrigins(port: number): readonly string[] {
  return ownHosts(port).map((host) => `http://${host}`);
}

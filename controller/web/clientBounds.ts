import type { IncomingMessage, Server, ServerResponse } from "node:http";
import type { Socket } from "node:net";

/**
 * Connections of one address. All pages of this machine share one: a browser keeps six and a live
 * socket for each page.
 */
const CONNECTIONS_MAX = 256;

/** Requests of one address that are answered at once; a browser sends six. */
const REQUESTS_MAX = 64;

/** One that was refused and does not go away is cut off after this. */
const REFUSED_MS_MAX = 1000;

/** Bounds what one client may ask of the night: connections, and requests in hand. */
export class ClientBounds {
  readonly #connections = new Counts();
  readonly #requests = new Counts();
  readonly #refused = new WeakSet<Socket>();

  /** Counts connections from now on; one too many gets a sentence and is closed. */
  watch(server: Server): void {
    server.on("connection", (socket) => {
      const client = socket.remoteAddress ?? "";
      socket.once("close", () => this.#connections.less(client));
      if (this.#connections.more(client) > CONNECTIONS_MAX) this.#refuse(socket);
    });
  }

  /** Whether a request may be answered; one that may not has got its answer. */
  admits(request: IncomingMessage, response: ServerResponse): boolean {
    if (this.#refused.has(request.socket)) return false;
    const client = request.socket.remoteAddress ?? "";
    response.once("close", () => this.#requests.less(client));
    if (this.#requests.more(client) <= REQUESTS_MAX) return true;
    const sentence = `More than ${REQUESTS_MAX} requests are being answered; ask again soon.`;
    response
      .writeHead(429, { "content-type": "application/json; charset=utf-8", "retry-after": "1" })
      .end(JSON.stringify({ code: "web.refused", sentence }));
    return false;
  }

  #refuse(socket: Socket): void {
    this.#refused.add(socket);
    const sentence = `More than ${CONNECTIONS_MAX} connections are open; close some pages.`;
    socket.on("error", () => socket.destroy());
    socket.end(
      "HTTP/1.1 503 Service Unavailable\r\nContent-Type: text/plain; charset=utf-8\r\n" +
        `Content-Length: ${Buffer.byteLength(sentence)}\r\nConnection: close\r\n\r\n${sentence}`,
    );
    setTimeout(() => socket.destroy(), REFUSED_MS_MAX).unref();
  }
}

/** How many of something each client has. */
class Counts {
  readonly #counts = new Map<string, number>();

  /** @returns how many it has now. */
  more(client: string): number {
    const count = (this.#counts.get(client) ?? 0) + 1;
    this.#counts.set(client, count);
    return count;
  }

  less(client: string): void {
    const count = (this.#counts.get(client) ?? 0) - 1;
    if (count > 0) this.#counts.set(client, count);
    else this.#counts.delete(client);
  }
}

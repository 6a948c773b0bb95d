import type { IncomingMessage, Server } from "node:http";
import type { Duplex } from "node:stream";

import { WebSocketServer, type WebSocket } from "ws";

import type { ServerMessage } from "../../core/api/messages.ts";
import type { NightService } from "../night/nightService.ts";
import { refusal } from "./originGuard.ts";

/** Where pages listen. */
export const LIVE_PATH = "/api/live";

/**
 * Bytes that may wait for one page. Beyond it the page is slow: it gets the newest state when it
 * has caught up, and fetches by itself the frames that it missed.
 */
const WAITING_BYTES_MAX = 512 * 1024;

/** State messages to one page are at least this far apart; only the newest is sent. */
const STATE_SPACING_MS = 100;

/** The state is sent at least this often, so that a page can tell silence from a dead daemon. */
const HEARTBEAT_MS = 2_000;

/** A page that takes nothing for this long is let go; it reconnects by itself. */
const STUCK_MS = 30_000;

/** Pages at once; more are refused, since each costs a little of the night. */
const PAGES_MAX = 32;

type Page = {
  readonly socket: WebSocket;
  isStatePending: boolean;
  stateSentMs: number;
  tookAllMs: number;
};

type LiveSocket = {
  /** How many pages listen. */
  readonly pageCount: () => number;
  readonly close: () => void;
};

/**
 * Pushes the night to every page that listens. Sending never waits: what a slow page cannot take
 * is left out, and the night goes on.
 */
export function attachLiveSocket(server: Server, service: NightService, port: number): LiveSocket {
  const sockets = new WebSocketServer({
    noServer: true,
    maxPayload: 1024,
    perMessageDeflate: false,
  });
  const pages = new Set<Page>();

  server.on("upgrade", (request: IncomingMessage, stream: Duplex, head: Buffer) => {
    stream.on("error", () => stream.destroy());
    const path = (request.url ?? "").split("?")[0];
    if (path !== LIVE_PATH) return refuse(stream, 404, "Nothing listens there.");
    const reason = refusal(request, port);
    if (reason !== null) return refuse(stream, 403, reason);
    if (pages.size >= PAGES_MAX) return refuse(stream, 503, "Too many pages are open.");
    sockets.handleUpgrade(request, stream, head, (socket) => {
      const now = performance.now();
      const page = { socket, isStatePending: true, stateSentMs: -Infinity, tookAllMs: now };
      pages.add(page);
      socket.on("close", () => pages.delete(page));
      socket.on("error", () => socket.terminate());
      flush(page);
    });
  });

  const unsubscribe = service.subscribe((message) => {
    if (pages.size === 0) return;
    if (message.kind === "state") {
      for (const page of pages) page.isStatePending = true;
      flushAll();
      return;
    }
    const text = JSON.stringify(message);
    for (const page of pages) if (hasRoom(page)) page.socket.send(text);
  });

  function flush(page: Page): void {
    const now = performance.now();
    if (page.socket.bufferedAmount === 0) page.tookAllMs = now;
    if (now - page.tookAllMs > STUCK_MS) return page.socket.terminate();
    const isDue = page.isStatePending || now - page.stateSentMs >= HEARTBEAT_MS;
    if (!isDue || now - page.stateSentMs < STATE_SPACING_MS || !hasRoom(page)) return;
    page.isStatePending = false;
    page.stateSentMs = now;
    const message: ServerMessage = { kind: "state", state: service.view() };
    page.socket.send(JSON.stringify(message));
  }
  function flushAll(): void {
    for (const page of pages) flush(page);
  }
  const timer = setInterval(flushAll, STATE_SPACING_MS);
  timer.unref();

  return {
    pageCount: () => pages.size,
    close: () => {
      clearInterval(timer);
      unsubscribe();
      for (const page of pages) page.socket.close(1001, "The program ends.");
      for (const page of pages) setTimeout(() => page.socket.terminate(), 500).unref();
      sockets.close();
    },
  };
}

function hasRoom(page: Page): boolean {
  return (
    page.socket.readyState === page.socket.OPEN && page.socket.bufferedAmount < WAITING_BYTES_MAX
  );
}

function refuse(stream: Duplex, status: number, sentence: string): void {
  stream.end(
    `HTTP/1.1 ${status} Refused\r\nContent-Type: text/plain; charset=utf-8\r\n` +
      `Content-Length: ${Buffer.byteLength(sentence)}\r\nConnection: close\r\n\r\n${sentence}`,
  );
}

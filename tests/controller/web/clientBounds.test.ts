import { once } from "node:events";
import { request as httpRequest, type IncomingMessage, type ServerResponse } from "node:http";
import { connect, type AddressInfo, type Socket } from "node:net";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { ClientBounds } from "../../../controller/web/clientBounds.ts";
import { openDoor, startWebServer, type WebServer } from "../../../controller/web/server.ts";
import { createFakeNight } from "../../support/fakeNight.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

let server: WebServer;
let sockets: Socket[];

beforeEach(async () => {
  const dir = temporaryFolder();
  const service = createFakeNight({ framesDir: join(dir, "frames") });
  server = await startWebServer({ port: 0, service, uiDir: join(dir, "ui") });
  sockets = [];
});

afterEach(async () => {
  for (const socket of sockets) socket.destroy();
  await server.close();
});

async function open(): Promise<Socket> {
  const socket = connect(server.port, "127.0.0.1");
  sockets.push(socket);
  await once(socket, "connect");
  return socket;
}

async function answerTo(socket: Socket): Promise<string> {
  let text = "";
  socket.on("data", (part) => (text += String(part)));
  socket.write(
    `GET /api/state HTTP/1.1\r\nHost: 127.0.0.1:${server.port}\r\nConnection: close\r\n\r\n`,
  );
  await once(socket, "close");
  return text;
}

test("refuses the 257th connection of one client in a sentence, and takes another when one closes", async () => {
  for (let count = 0; count < 256; count += 1) await open();
  const refusal = await answerTo(await open());
  expect(refusal).toMatch(/^HTTP\/1\.1 503 /);
  expect(refusal).toContain("More than 256 connections are open; close some pages.");
  const closed = once(sockets[0]!, "close");
  sockets[0]!.destroy();
  await closed;
  // The server hears of the closing a little later than we do.
  await expect.poll(async () => (await answerTo(await open())).slice(0, 12)).toBe("HTTP/1.1 200");
});

test("answers 429 to the 65th request of one client while 64 are in hand, and the next when one is done", async () => {
  const door = await openDoor(0);
  const bounds = new ClientBounds();
  const inHand: ServerResponse[] = [];
  door.removeAllListeners("request");
  door.on("request", (request, response) => {
    if (bounds.admits(request, response)) inHand.push(response);
  });
  const { port } = door.address() as AddressInfo;
  const ask = (): Promise<IncomingMessage> =>
    new Promise((resolve, reject) => {
      const request = httpRequest({ host: "127.0.0.1", port, agent: false }, resolve);
      request.on("error", reject).end();
    });
  const asked = Array.from({ length: 64 }, ask);
  await expect.poll(() => inHand.length).toBe(64);
  const refused = await ask();
  expect([refused.statusCode, refused.headers["retry-after"]]).toEqual([429, "1"]);
  refused.resume();
  inHand[0]!.end();
  (await Promise.race(asked)).resume();
  const next = ask();
  await expect.poll(() => inHand.length).toBe(65);
  for (const response of inHand) response.end();
  for (const response of await Promise.all([...asked, next])) response.resume();
  door.closeAllConnections();
  door.close();
});

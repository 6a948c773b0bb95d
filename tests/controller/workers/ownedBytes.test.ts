import { once } from "node:events";
import { readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { MessageChannel } from "node:worker_threads";
import sharp from "sharp";
import { expect, it } from "vitest";
import { ownedBytes, postOwned } from "../../../controller/workers/ownedBytes.ts";

const PIXEL = { width: 1, height: 1, channels: 3 as const, background: "red" };

/** Where bytes come from that must not be handed over as they are, and some that may. */
const SOURCES: readonly (readonly [string, () => Promise<Uint8Array> | Uint8Array])[] = [
  ["a small buffer from Node's pool", () => Buffer.from("a few bytes")],
  ["a buffer's slice, which is no copy", () => Buffer.alloc(100, 7).slice(20, 60)],
  ["a stretch of a larger array", () => new Uint8Array(1000).fill(3).subarray(100, 200)],
  ["what an image library made", () => sharp({ create: PIXEL }).jpeg().toBuffer()],
  ["a file that was read", () => readFileSync(fileURLToPath(import.meta.url))],
  ["memory shared between threads", () => new Uint8Array(new SharedArrayBuffer(8)).fill(5)],
  ["an array of its own", () => new Uint8Array(64).fill(1)],
  ["nothing", () => new Uint8Array()],
];

it.each(SOURCES)("hands %s to another thread whole", async (_name, make) => {
  const bytes = await make();
  const before = [...bytes];
  const owned = ownedBytes(bytes);
  const { port1, port2 } = new MessageChannel();
  const arrived = once(port2, "message");
  postOwned(port1, { bytes: owned }, [owned]);
  const [message] = (await arrived) as [{ bytes: Uint8Array }];
  port1.close();
  expect([...message.bytes]).toEqual(before);
  expect(owned).toHaveLength(0);
});

it("leaves a stretch's neighbours where they are, and copies nothing that fills its memory", () => {
  const whole = new Uint8Array(100).fill(9);
  expect(ownedBytes(whole)).toBe(whole);
  const { port1 } = new MessageChannel();
  const stretch = ownedBytes(whole.subarray(10, 20));
  postOwned(port1, stretch, [stretch]);
  port1.close();
  expect(whole).toHaveLength(100);
});

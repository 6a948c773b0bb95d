import * as threads from "node:worker_threads";

declare const owned: unique symbol;

/** Bytes that fill memory of their own, so that they can be handed to another thread. */
export type OwnedBytes = Uint8Array<ArrayBuffer> & { readonly [owned]: true };

/** Whether a native library or the pool of small buffers owns the memory; Node 20 cannot tell. */
const isForeign = (threads as { isMarkedAsUntransferable?: (buffer: ArrayBuffer) => boolean })
  .isMarkedAsUntransferable;

/**
 * The same bytes in memory of their own; copied only where they are a stretch of something larger
 * or belong to a native library, whose memory no thread may give away.
 */
export function ownedBytes(bytes: Uint8Array): OwnedBytes {
  const { buffer } = bytes;
  const fillsIt = buffer instanceof ArrayBuffer && buffer.byteLength === bytes.byteLength;
  // Node's own buffers and those of libraries are Buffers; what we fill ourselves is not.
  const isOurs = fillsIt && !(isForeign?.(buffer) ?? bytes instanceof Buffer);
  return (isOurs ? bytes : new Uint8Array(bytes)) as OwnedBytes;
}

/** Posts a message and hands over the bytes in it that are named; here they are gone afterwards. */
export function postOwned<Message>(
  port: Pick<threads.MessagePort, "postMessage">,
  message: Message,
  handedOver: readonly OwnedBytes[] = [],
): void {
  port.postMessage(
    message,
    handedOver.map(({ buffer }) => buffer),
  );
}

/** Bytes that came in pieces and are taken off in others. */
type ByteQueue = {
  /** Bytes that wait. */
  readonly bytes: () => number;
  readonly push: (chunk: Uint8Array) => void;
  /** The next bytes; `count` of them must be there. Copied only where they came in two pieces. */
  readonly take: (count: number) => Uint8Array;
  /** The same, and they stay. */
  readonly peek: (count: number) => Uint8Array;
  /** As many of the next bytes as can be had without copying, at most `countMax`; empty: none wait. */
  readonly takeSome: (countMax: number) => Uint8Array;
};

/** An empty queue. It keeps the chunks it is given and hands out views of them. */
export function createByteQueue(): ByteQueue {
  let chunks: Uint8Array[] = [];
  let bytes = 0;

  const takeSome = (countMax: number): Uint8Array => {
    const first = chunks[0] ?? new Uint8Array();
    const some = first.subarray(0, countMax);
    bytes -= some.byteLength;
    if (some.byteLength < first.byteLength) chunks[0] = first.subarray(some.byteLength);
    else chunks.shift();
    return some;
  };
  const take = (count: number): Uint8Array => {
    if ((chunks[0]?.byteLength ?? 0) >= count) return takeSome(count);
    const joined = new Uint8Array(count);
    for (let filled = 0; filled < count;) {
      const some = takeSome(count - filled);
      joined.set(some, filled);
      filled += some.byteLength;
    }
    return joined;
  };

  return {
    bytes: () => bytes,
    push: (chunk) => {
      if (chunk.byteLength === 0) return;
      chunks.push(chunk);
      bytes += chunk.byteLength;
    },
    take,
    peek: (count) => {
      const next = take(count);
      chunks = [next, ...chunks];
      bytes += count;
      return next;
    },
    takeSome,
  };
}

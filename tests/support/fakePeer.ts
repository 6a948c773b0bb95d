import type { Transport } from "../../controller/cameras/transport.ts";

/** A request as the far end received it, its data phase included. */
export type PeerRequest = {
  readonly operationCode: number;
  readonly transactionId: number;
  readonly parameters: readonly number[];
  readonly dataOut: Uint8Array | null;
};

/** How what is sent is cut into reads. */
export type Cutting = "packet by packet" | "byte by byte" | "all at once";

/**
 * The camera's end of a link, driven step by step by a test. It has no mind of its own: it says
 * what it is asked to, right or wrong.
 */
export type FakePeer = {
  nextRequest(): Promise<PeerRequest>;
  /** Transaction of the next cancel that the host sends. */
  nextCancel(): Promise<number>;
  /** Announces a data phase; null: of unknown length. */
  startData(transactionId: number, totalBytes: number | null): void;
  data(transactionId: number, bytes: Uint8Array): void;
  /** Ends the data phase, with its last bytes. */
  endData(transactionId: number, bytes: Uint8Array): void;
  respond(transactionId: number, responseCode: number, parameters?: readonly number[]): void;
  event(eventCode: number, transactionId: number, parameters?: readonly number[]): void;
  /** From here on cut what is sent like this; "all at once" sends nothing before `flush`. */
  cut(cutting: Cutting): void;
  flush(): Promise<void>;
  /** The cable is pulled. */
  vanish(): void;
};

/** A transport joined to a fake camera, opened. */
export type TransportRig = {
  readonly transport: Transport;
  readonly peer: FakePeer;
  stop(): Promise<void>;
};

export type TransportKind = {
  readonly name: string;
  /** @param cancelMs  How long a cancelled transaction may take to end. */
  join(options?: { readonly cancelMs?: number }): Promise<TransportRig>;
};

/** A queue that a test can wait on. */
export function createMailbox<T>(): { put(item: T): void; take(): Promise<T> } {
  const items: T[] = [];
  const takers: ((item: T) => void)[] = [];
  return {
    put: (item) => {
      const taker = takers.shift();
      if (taker) taker(item);
      else items.push(item);
    },
    take: () => {
      const item = items.shift();
      if (item !== undefined) return Promise.resolve(item);
      return new Promise((resolve) => takers.push(resolve));
    },
  };
}

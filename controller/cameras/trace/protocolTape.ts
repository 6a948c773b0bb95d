import { OPERATIONS } from "../../../core/ptp/operations.ts";
import { realMs } from "../../timing/clock.ts";
import type { DataSink, OperationRequest, Transport } from "../transport.ts";

/** One thing that went over the link; times are milliseconds since 1970 by this computer. */
export type ProtocolEntry =
  | {
      readonly kind: "transaction";
      readonly sentUtcMs: number;
      readonly endedUtcMs: number;
      readonly operationCode: number;
      readonly transactionId: number;
      readonly parameters: readonly number[];
      readonly dataOut: Uint8Array | null;
      /** What came, as far as it was kept; shorter than `dataInBytes` where pictures are cut out. */
      readonly dataIn: Uint8Array;
      readonly dataInBytes: number;
      /** Null: none came; `failure` says why. */
      readonly response: { readonly code: number; readonly parameters: readonly number[] } | null;
      readonly failure: string | null;
    }
  | {
      readonly kind: "event";
      readonly atUtcMs: number;
      readonly eventCode: number;
      readonly transactionId: number;
      readonly parameters: readonly number[];
    };

type Transaction = Extract<ProtocolEntry, { kind: "transaction" }>;

/** Pictures travel in these; what they bring is a photographer's, and large. */
const PICTURE_OPERATIONS: readonly number[] = [
  OPERATIONS.GetObject.code,
  OPERATIONS.GetThumb.code,
  OPERATIONS.GetPartialObject.code,
];
/** The last megabytes: hours of settings and events, or minutes of a talkative body. Judgement. */
const TAPE_BYTES = 3_000_000;
/** What an entry takes beside its data, about. */
const ENTRY_BYTES = 200;
/** No dataset that a fault is found by is longer; a list of many thousand files is cut. Judgement. */
const DATA_BYTES_MAX = 65_536;
/** A maker's own operation may bring a preview: cut like one. */
const MAKER_CODE_MIN = 0x9000;
const MAKER_DATA_BYTES_MAX = 4096;

type TapeOptions = {
  /** Bytes kept at most; left out: a few megabytes. */
  readonly bytesMax?: number;
  /** Pictures are kept, too; left out: their length alone. */
  readonly withPictures?: boolean;
};

/** The newest of what went over the link, in both directions, in bounded memory. */
export class ProtocolTape {
  readonly #bytesMax: number;
  readonly #withPictures: boolean;
  #entries: ProtocolEntry[] = [];
  /** Entries before this one have been dropped. */
  #from = 0;
  #bytes = 0;

  constructor({ bytesMax = TAPE_BYTES, withPictures = false }: TapeOptions = {}) {
    this.#bytesMax = bytesMax;
    this.#withPictures = withPictures;
  }

  note(entry: ProtocolEntry): void {
    this.#entries.push(entry);
    this.#bytes += bytesOf(entry);
    while (this.#bytes > this.#bytesMax && this.#from < this.#entries.length) {
      this.#bytes -= bytesOf(this.#entries[this.#from]!);
      this.#from += 1;
    }
    // Dropping one by one at the front would move all the others every time.
    if (this.#from > 1000) this.#compact();
  }

  /** Everything that is kept, oldest first; the tape is empty then. */
  take(): readonly ProtocolEntry[] {
    this.#compact();
    const entries = this.#entries;
    this.#entries = [];
    this.#bytes = 0;
    return entries;
  }

  get count(): number {
    return this.#entries.length - this.#from;
  }

  /** How much of the data that an operation brings is kept, bytes. */
  roomFor(operationCode: number): number {
    if (this.#withPictures) return Infinity;
    if (PICTURE_OPERATIONS.includes(operationCode)) return 0;
    return operationCode >= MAKER_CODE_MIN ? MAKER_DATA_BYTES_MAX : DATA_BYTES_MAX;
  }

  #compact(): void {
    this.#entries = this.#entries.slice(this.#from);
    this.#from = 0;
  }
}

function bytesOf(entry: ProtocolEntry): number {
  if (entry.kind === "event") return ENTRY_BYTES;
  return ENTRY_BYTES + entry.dataIn.byteLength + (entry.dataOut?.byteLength ?? 0);
}

/** The transport, with everything that goes over it noted on the tape. */
export function taped(transport: Transport, tape: ProtocolTape): Transport {
  transport.onEvent(({ eventCode, transactionId, parameters, atMs }) =>
    tape.note({ kind: "event", atUtcMs: atMs, eventCode, transactionId, parameters }),
  );
  return {
    place: transport.place,
    get usbIds() {
      return transport.usbIds;
    },
    open: (timeoutMs) => transport.open(timeoutMs),
    transact: async (request, options) => {
      const kept = new KeptData(tape.roomFor(request.operationCode));
      const sentUtcMs = realMs();
      const data = kept.around(options.data);
      try {
        const answer = await transport.transact(request, { ...options, ...(data && { data }) });
        const { responseCode: code, parameters, answeredMs, dataBytes } = answer;
        const ended = { endedUtcMs: answeredMs, dataInBytes: request.dataOut ? 0 : dataBytes };
        const response = { code, parameters };
        tape.note(
          noteOf(request, kept, { sentUtcMs: answer.sentMs, ...ended, response, failure: null }),
        );
        return answer;
      } catch (thrown) {
        const failure = thrown instanceof Error ? thrown.message : String(thrown);
        const ended = { endedUtcMs: realMs(), dataInBytes: kept.cameBytes };
        tape.note(noteOf(request, kept, { sentUtcMs, ...ended, response: null, failure }));
        throw thrown;
      }
    },
    onEvent: (listener) => transport.onEvent(listener),
    onLost: (listener) => transport.onLost(listener),
    close: () => transport.close(),
  };
}

function noteOf(
  { operationCode, transactionId, parameters, dataOut }: OperationRequest,
  kept: KeptData,
  ended: Pick<Transaction, "sentUtcMs" | "endedUtcMs" | "dataInBytes" | "response" | "failure">,
): Transaction {
  const dataIn = kept.bytes();
  return {
    ...{ kind: "transaction", operationCode, transactionId, parameters, dataOut, dataIn },
    ...ended,
  };
}

/** The first bytes of a data phase, copied as they pass. */
class KeptData {
  readonly #room: number;
  readonly #pieces: Uint8Array[] = [];
  #keptBytes = 0;
  cameBytes = 0;

  constructor(room: number) {
    this.#room = room;
  }

  /** A sink that does what the given one does; left out where there is none. */
  around(sink: DataSink | undefined): DataSink | undefined {
    if (sink === undefined) return undefined;
    return {
      announce: (bytes) => sink.announce?.(bytes),
      roomFor: (bytesMax) => sink.roomFor?.(bytesMax) ?? null,
      take: (bytes) => {
        this.#keep(bytes);
        sink.take(bytes);
      },
    };
  }

  bytes(): Uint8Array {
    return this.#pieces.length === 1 ? this.#pieces[0]! : Buffer.concat(this.#pieces);
  }

  #keep(bytes: Uint8Array): void {
    this.cameBytes += bytes.byteLength;
    const room = this.#room - this.#keptBytes;
    if (room <= 0) return;
    // A copy of its own: a view would keep alive, and change with, whatever it was read into.
    const piece = new Uint8Array(bytes.subarray(0, Math.min(room, bytes.byteLength)));
    this.#keptBytes += piece.byteLength;
    this.#pieces.push(piece);
  }
}

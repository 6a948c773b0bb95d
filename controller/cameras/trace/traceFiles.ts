import { appendFileSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { writeDurably } from "../../durableWrite.ts";
import { Capture, captureOf } from "./protocolCapture.ts";
import type { ProtocolEntry } from "./protocolTape.ts";

/** So many faults of a night keep their protocol; the first ones and the newest say most. Judgement. */
const FAULT_FILES_MAX = 8;
const FAULT_FILE = /^protocol-.*\.pcapng$/;

/** Keeps what went over a camera's link before a fault, beside its night. */
export class FaultFiles {
  readonly #nightDir: string;
  readonly #cameraId: string;
  readonly #link: "ip" | "usb";

  constructor(options: {
    readonly nightDir: string;
    readonly cameraId: string;
    readonly link: "ip" | "usb";
  }) {
    this.#nightDir = options.nightDir;
    this.#cameraId = options.cameraId;
    this.#link = options.link;
  }

  /** @param atUtcMs  When it went wrong. @throws what the file system says. */
  async write(entries: readonly ProtocolEntry[], atUtcMs: number): Promise<string> {
    const at = new Date(atUtcMs).toISOString().replace(/[-:.]/g, "");
    const path = join(this.#nightDir, `protocol-${at}-${this.#cameraId}.pcapng`);
    await writeDurably(path, captureOf(this.#link, entries));
    this.#makeRoom();
    return path;
  }

  /** The first stays, as what began it; of the others the oldest goes. */
  #makeRoom(): void {
    const files = readdirSync(this.#nightDir)
      .filter((name) => FAULT_FILE.test(name))
      .sort();
    const surplus = files.slice(1, Math.max(1, 1 + files.length - FAULT_FILES_MAX));
    for (const name of surplus) rmSync(join(this.#nightDir, name), { force: true });
  }
}

/** A file that grows with everything that goes over a camera's link. */
export class TraceFile {
  readonly #path: string;
  readonly #capture: Capture;

  /** An older file of the name is replaced. @throws what the file system says. */
  constructor(path: string, link: "ip" | "usb", atUtcMs: number) {
    this.#path = path;
    this.#capture = new Capture(link);
    writeFileSync(path, this.#capture.begin(atUtcMs));
  }

  /** @throws what the file system says. */
  add(entries: readonly ProtocolEntry[]): void {
    appendFileSync(this.#path, Buffer.concat(entries.map((entry) => this.#capture.add(entry))));
  }
}

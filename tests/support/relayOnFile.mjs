// A relay in the place of `node-hid`, with no code of the program's: reports in, and a line in the file RELAY_LOG for
// each movement, "closed" or "open", the moment and the process. Like a real one it stays as it was left,
// when its owner dies. Numbers and reports are those of `hid-relay-16c0-05df.json`, from memory and unconfirmed.
import { appendFileSync } from "node:fs";

const IDS = { vendorId: 0x16c0, productId: 0x05df };
const MOVEMENTS = { 0xff: "closed", 0xfd: "open" };

/** A keyboard stands before the relay, as on most computers. */
export async function devicesAsync() {
  return [{ vendorId: 0x1209, productId: 0x0001 }, IDS];
}

export class HIDAsync {
  #isClosed = false;

  static async open(vendorId, productId) {
    if (vendorId !== IDS.vendorId || productId !== IDS.productId) {
      throw new Error("cannot open device");
    }
    return new HIDAsync();
  }

  on() {
    return this;
  }

  async write() {
    throw new Error("Cannot write to hid device");
  }

  async sendFeatureReport(report) {
    const [number, command, relay] = report;
    const word = MOVEMENTS[command];
    if (this.#isClosed || number !== 0 || relay !== 1 || report.length !== 9 || !word) {
      throw new Error("could not send feature report to device");
    }
    appendFileSync(process.env.RELAY_LOG, `${word} ${Date.now()} ${process.pid}\n`);
    return report.length;
  }

  async close() {
    this.#isClosed = true;
  }
}

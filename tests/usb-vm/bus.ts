import { fork, type ChildProcess } from "node:child_process";
import { existsSync, readdirSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { UsbTransport } from "../../controller/cameras/usb/usbTransport.ts";
import { NightError } from "../../core/errors.ts";
import type { FakePeer, TransportKind } from "../support/fakePeer.ts";
import type { FakeUsbOptions } from "../support/fakeUsbCamera.ts";
import type { ContactMovement } from "../support/fileRelease.ts";
import type { LineMovement } from "../support/serialAdapter.ts";
import type { TestCameraOptions } from "../support/testCamera.ts";
import type { BusAnswer, BusCall } from "./busProcess.ts";

/** The kernel needs a moment to greet a new device, longer under emulation. */
const APPEAR_MS = 30_000;
const LOOK_MS = 100;

type CallWithoutNumber = BusCall extends infer C
  ? C extends BusCall
    ? Omit<C, "number">
    : never
  : never;

/** The emulated devices' side of the kernel's bus, in a process of its own. */
export class Bus {
  readonly #child: ChildProcess;
  readonly #waiting = new Map<number, (answer: BusAnswer) => void>();
  #lastNumber = 0;

  private constructor(child: ChildProcess) {
    this.#child = child;
    child.on("message", (answer: BusAnswer) => {
      this.#waiting.get(answer.number)?.(answer);
      this.#waiting.delete(answer.number);
    });
  }

  static async start(): Promise<Bus> {
    const child = fork(fileURLToPath(new URL("./busProcess.ts", import.meta.url)), {
      ...{ execArgv: ["--import", "tsx"], serialization: "advanced", stdio: "inherit" },
    });
    const bus = new Bus(child);
    await new Promise<void>((resolve, reject) => {
      bus.#waiting.set(0, () => resolve());
      child.once("exit", () => reject(new Error("the bus process ended at once")));
    });
    return bus;
  }

  plugFake(options: FakeUsbOptions): Promise<number> {
    return this.#call({ kind: "plugFake", options }) as Promise<number>;
  }

  plugVirtual(serialNumber: string, options: TestCameraOptions): Promise<number> {
    return this.#call({ kind: "plugVirtual", serialNumber, options }) as Promise<number>;
  }

  /** A virtual camera in real time that the kernel has greeted and the rules have let us open. */
  async plugVirtualAndGreet(serialNumber: string): Promise<number> {
    const options = { rate: 1, busySeconds: 0.3, utcOffsetMinutes: 0 };
    const device = await this.plugVirtual(serialNumber, options);
    await (await openWhenThere(serialNumber)).close();
    return device;
  }

  /** A serial adapter, with the path under which the system has it. */
  async plugSerial(
    serialNumber: string,
    { hasBreak }: { readonly hasBreak: boolean },
  ): Promise<{ readonly device: number; readonly path: string }> {
    const device = (await this.#call({ kind: "plugSerial", serialNumber, hasBreak })) as number;
    return { device, path: await pathWhenThere(serialNumber) };
  }

  /** A HID relay, which the system knows by its numbers. */
  plugRelay(serialNumber: string): Promise<number> {
    return this.#call({ kind: "plugRelay", serialNumber }) as Promise<number>;
  }

  /** How a relay's contact has moved so far. */
  contact(device: number): Promise<readonly ContactMovement[]> {
    return this.#call({ kind: "contact", device }) as never;
  }

  /** How a serial adapter's control lines have moved so far. */
  lines(device: number): Promise<readonly LineMovement[]> {
    return this.#call({ kind: "lines", device }) as never;
  }

  async unplug(device: number): Promise<void> {
    await this.#call({ kind: "unplug", device });
  }

  replug(device: number, afterMs: number): Promise<number> {
    return this.#call({ kind: "replug", device, afterMs }) as Promise<number>;
  }

  /** What the virtual camera has exposed so far, by its own record. */
  orders(device: number): Promise<readonly { readonly exposureSeconds: number }[]> {
    return this.#call({ kind: "orders", device }) as never;
  }

  /** A fake camera's hand, by messages. */
  peer(device: number): FakePeer {
    const ask = (method: string, ...args: unknown[]): Promise<unknown> =>
      this.#call({ kind: "peer", device, method, args });
    const tell = (method: string, ...args: unknown[]): void => {
      ask(method, ...args).catch((error: unknown) => {
        throw error;
      });
    };
    return {
      nextRequest: () => ask("nextRequest") as never,
      nextCancel: () => ask("nextCancel") as never,
      startData: (id, totalBytes) => tell("startData", id, totalBytes),
      data: (id, bytes) => tell("data", id, bytes),
      endData: (id, bytes) => tell("endData", id, bytes),
      respond: (id, code, parameters) => tell("respond", id, code, parameters),
      event: (code, id, parameters) => tell("event", code, id, parameters),
      cut: (cutting) => tell("cut", cutting),
      flush: () => ask("flush") as never,
      vanish: () => tell("vanish"),
    };
  }

  stop(): Promise<void> {
    return new Promise((resolve) => {
      this.#child.once("exit", () => resolve());
      this.#child.disconnect();
    });
  }

  #call(call: CallWithoutNumber): Promise<unknown> {
    this.#lastNumber += 1;
    const number = this.#lastNumber;
    return new Promise((resolve, reject) => {
      this.#waiting.set(number, ({ result, error }) =>
        error === undefined ? resolve(result) : reject(new Error(error)),
      );
      this.#child.send({ ...call, number });
    });
  }
}

/** Opens the camera of this serial number as soon as the kernel and the rules have it. */
export async function openWhenThere(
  which: string | null,
  options: { readonly cancelMs?: number } = {},
): Promise<UsbTransport> {
  const untilMs = Date.now() + APPEAR_MS;
  for (;;) {
    const transport = new UsbTransport({ which, ...options });
    try {
      await transport.open(10_000);
      return transport;
    } catch (thrown) {
      if (!(thrown instanceof NightError) || Date.now() > untilMs) throw thrown;
      await new Promise((resolve) => setTimeout(resolve, LOOK_MS));
    }
  }
}

/** The system's own name for a serial adapter, as soon as it has one. */
async function pathWhenThere(serialNumber: string): Promise<string> {
  const folder = "/dev/serial/by-id";
  for (const untilMs = Date.now() + APPEAR_MS; Date.now() < untilMs;) {
    const names = existsSync(folder) ? readdirSync(folder) : [];
    const name = names.find((one) => one.includes(serialNumber));
    if (name !== undefined) return join(folder, name);
    await new Promise((resolve) => setTimeout(resolve, LOOK_MS));
  }
  throw new Error(`the system has no serial adapter ${serialNumber}`);
}

let lastFake = 0;

/** PTP over this kernel's USB stack, to a camera that does as the test says. */
export function kernelKind(name: string, bus: () => Bus, camera: FakeUsbOptions): TransportKind {
  return {
    name,
    join: async (options = {}) => {
      lastFake += 1;
      const serialNumber = `FAKE${String(lastFake).padStart(4, "0")}`;
      const device = await bus().plugFake({ ...camera, serialNumber });
      const transport = await openWhenThere(serialNumber, options);
      return {
        transport,
        peer: bus().peer(device),
        stop: async () => {
          await transport.close();
          await bus().unplug(device);
        },
      };
    },
  };
}

import { afterEach, describe, expect, it, vi } from "vitest";
import type { SensorPort } from "../../../controller/sensors/serialLines.ts";
import { Sensors, type SensorEvent, SensorHub } from "../../../controller/sensors/sensors.ts";
import { sensorTarget, type SensorTarget } from "../../../controller/sensors/sensorTarget.ts";
import { readProfiles } from "../../../controller/profiles/readProfiles.ts";
import { checksumOf } from "../../../core/sensors/nmea.ts";
import { utcMs } from "../../../core/units.ts";

const NOON_UTC_MS = Date.UTC(2027, 2, 24, 12);

/** Ports that a test plugs in, writes to and pulls out; attempts while none is there fail. */
class Bench {
  readonly events: SensorEvent[] = [];
  readonly pausesMs: number[] = [];
  readonly opened: string[] = [];
  isPlugged = true;
  /** What the system says of a port that does not open. */
  refusal = "Error: No such file or directory, cannot open /dev/light";
  nowUtcMs = NOON_UTC_MS;
  #say: (bytes: Uint8Array) => void = () => undefined;
  #pull: () => void = () => undefined;
  #goOn: (() => void) | null = null;
  readonly sensors: Sensors;

  constructor(targets: readonly SensorTarget[], refusal: string | null = null) {
    this.isPlugged = refusal === null;
    this.refusal = refusal ?? this.refusal;
    this.sensors = new Sensors({
      targets,
      nowUtcMs: () => utcMs(this.nowUtcMs),
      tell: (event) => this.events.push(event),
      verdictMs: 50,
      open: (path, baudRate) => this.#open(path, baudRate),
      wait: async (pauseMs, signal) => {
        this.pausesMs.push(pauseMs);
        await new Promise<void>((resolve) => {
          this.#goOn = resolve;
          signal.addEventListener("abort", () => resolve());
        });
      },
    });
  }

  #open(path: string, baudRate: number): Promise<SensorPort> {
    this.opened.push(`${path} ${baudRate}`);
    if (!this.isPlugged) return Promise.reject(new Error(this.refusal));
    return Promise.resolve({
      on: (event: string, listener: (bytes: Uint8Array) => void) => {
        if (event === "data") this.#say = listener;
        if (event === "close") this.#pull = listener as () => void;
      },
      close: () => undefined,
    });
  }

  async say(text: string): Promise<void> {
    await settle();
    this.#say(Buffer.from(text));
  }

  /** Kinds of trouble, once there are so many. */
  async troubles(count: number): Promise<readonly string[]> {
    const found = () =>
      this.events.flatMap((event) => (event.kind === "trouble" ? [event.trouble.kind] : []));
    await vi.waitFor(() => expect(found().length).toBeGreaterThanOrEqual(count), 5_000);
    return found();
  }

  async pull(): Promise<void> {
    this.isPlugged = false;
    this.#pull();
    await settle();
  }

  async pauseIsOver(): Promise<void> {
    await settle();
    this.#goOn?.();
    await settle();
  }

  kinds(): readonly string[] {
    return this.events.map((event) =>
      event.kind === "presence" ? (event.isThere ? "there" : "gone") : event.kind,
    );
  }
}

async function settle(): Promise<void> {
  for (let turn = 0; turn < 5; turn += 1) await new Promise((resolve) => setImmediate(resolve));
}

function target(over: Partial<SensorTarget> = {}): SensorTarget {
  return {
    ...{ kind: "lightMeter", path: "/dev/light", baudRate: 115_200, silenceMsMax: 60_000 },
    ...over,
  };
}

function nmea(body: string): string {
  return `$${body}*${checksumOf(body).toString(16).padStart(2, "0")}\r\n`;
}

describe("sensors on serial lines", () => {
  let bench: Bench;
  afterEach(async () => await bench.sensors.close());

  it("tell light samples however the lines are cut, remarks and broken lines left out", async () => {
    bench = new Bench([target()]);
    await bench.say("# light meter 1\nlight va");
    await bench.say("lue=0.25\r");
    bench.nowUtcMs += 100;
    await bench.say("\nlight value=nonsense\nlight value=0.5\n");
    expect(bench.events.filter(({ kind }) => kind === "light")).toEqual([
      { kind: "light", value: 0.25 },
      { kind: "light", value: 0.5 },
    ]);
  });

  it.each([
    ["Error: No such file or directory, cannot open /dev/light", "absent"],
    ["Opening /dev/light: File not found", "absent"],
    ["Error: Permission denied, cannot open /dev/light", "denied"],
    ["Opening COM7: Access denied", "denied"],
    ["Error Resource temporarily unavailable Cannot lock port", "inUse"],
    ["Error: Inappropriate ioctl for device, cannot open /dev/null", "refused"],
  ])("report once why a port does not open: %s", async (refusal, kind) => {
    bench = new Bench([target()], refusal);
    expect(await bench.troubles(1)).toEqual([kind]);
    await bench.pauseIsOver();
    expect(bench.opened).toHaveLength(2);
    expect(await bench.troubles(1)).toEqual([kind]);
  });

  it("report an open port that says nothing", async () => {
    bench = new Bench([target()]);
    expect(await bench.troubles(1)).toEqual(["silent"]);
    expect(bench.kinds()).not.toContain("there");
    await bench.say("light value=1\n");
    expect(bench.kinds()).toContain("there");
  });

  it.each([
    ["climate lines for a light meter", target(), "climate temperatureC=-12 humidityPercent=81\n"],
    ["noise", target(), "\u00fe\u00fe\u0081"],
    ["light for a receiver", target({ kind: "gnss" }), "light value=1\n"],
    ["a sentence whose checksum is wrong", target({ kind: "gnss" }), "$GPGGA,1*00\r\n"],
  ])("report %s as another device, and never as there", async (_, asked, text) => {
    bench = new Bench([asked]);
    await bench.say(text);
    expect(await bench.troubles(1)).toEqual(["foreign"]);
    expect(bench.kinds()).not.toContain("there");
  });

  it("count a receiver without a fix as there", async () => {
    bench = new Bench([target({ kind: "gnss" })]);
    await bench.say(nmea("GPRMC,120000.00,V,,,,,,,240327,,,N"));
    expect(bench.kinds()).toEqual(["there"]);
  });

  it("do not report a port as absent whose sensor went", async () => {
    bench = new Bench([target()]);
    await bench.say("light value=1\n");
    await bench.pull();
    await bench.pauseIsOver();
    expect(bench.kinds().filter((kind) => kind !== "light")).toEqual(["there", "gone"]);
  });

  it("drop light samples that come faster than 22 a second", async () => {
    bench = new Bench([target()]);
    for (let n = 0; n < 10; n += 1) {
      await bench.say(`light value=${n}\n`);
      bench.nowUtcMs += 10;
    }
    expect(bench.events.filter(({ kind }) => kind === "light")).toHaveLength(2);
  });

  it("tell the climate", async () => {
    bench = new Bench([target({ kind: "climate" })]);
    await bench.say("climate temperatureC=-12.4 humidityPercent=81\n");
    expect(bench.events.at(-1)).toEqual({
      kind: "climate",
      temperatureC: -12.4,
      humidityPercent: 81,
    });
  });

  it("tell place and clock from GNSS, the clock by the sentence that came soonest", async () => {
    bench = new Bench([target({ kind: "gnss", path: "/dev/gnss", baudRate: 9600 })]);
    const rmc = (time: string): string =>
      nmea(`GPRMC,${time},A,6854.000,N,02700.000,E,0.0,0.0,240327,,,A`);
    // The laptop is 3 s ahead; sentences come 400, 120 and 700 ms after their second.
    for (const [second, delayMs] of [
      [0, 400],
      [1, 120],
      [2, 700],
    ] as const) {
      bench.nowUtcMs = NOON_UTC_MS + second * 1000 + 3000 + delayMs;
      await bench.say(rmc(`12000${second}.00`));
    }
    expect(bench.events.filter(({ kind }) => kind === "clock").at(-1)).toEqual({
      kind: "clock",
      laptopLessGnssMs: 3120,
    });
    expect(bench.events.at(-1)).toMatchObject({
      ...{ kind: "place", elevationM: null },
      latitudeDeg: 68.9,
      longitudeDeg: 27,
    });
    await bench.say(nmea("GPGGA,120003.00,6854.000,N,02700.000,E,1,08,0.9,212.4,M,20.0,M,,"));
    expect(bench.events.at(-1)).toMatchObject({ kind: "place", elevationM: 212.4 });
  });

  it("believe no sentence whose checksum is wrong, nor a date of 2006", async () => {
    bench = new Bench([target({ kind: "gnss" })]);
    const rmc = nmea("GPRMC,120000,A,6854.000,N,02700.000,E,0,0,240327,,,A");
    await bench.say(rmc.replace("6854", "6855"));
    await bench.say(nmea("GPRMC,120000,A,6854.000,N,02700.000,E,0,0,240306,,,A"));
    expect(bench.kinds()).toEqual(["there"]);
  });

  it("may vanish and come back, tried again after rising pauses of at most 30 s", async () => {
    bench = new Bench([target()]);
    await bench.say("light value=1\n");
    await bench.pull();
    for (let attempt = 0; attempt < 7; attempt += 1) await bench.pauseIsOver();
    expect(bench.pausesMs.slice(0, 7)).toEqual([
      1_000, 2_000, 5_000, 10_000, 30_000, 30_000, 30_000,
    ]);
    bench.isPlugged = true;
    await bench.pauseIsOver();
    bench.nowUtcMs += 1000;
    await bench.say("light value=2\n");
    expect(bench.kinds()).toEqual(["there", "light", "gone", "there", "light"]);
  });

  it("count as gone when they fall silent, and are opened again", async () => {
    bench = new Bench([target({ silenceMsMax: 30 })]);
    await bench.say("light value=1\n");
    while (bench.pausesMs.length === 0) await new Promise((resolve) => setTimeout(resolve, 5));
    await bench.pauseIsOver();
    expect(bench.opened).toHaveLength(2);
    expect(bench.kinds()).toEqual(["there", "light", "gone"]);
  });

  it("that were never plugged in are waited for in silence", async () => {
    bench = new Bench([]);
    await bench.sensors.close();
    const other = new Bench([target()]);
    other.isPlugged = false;
    await other.pauseIsOver();
    expect(other.events).toEqual([]);
    await other.sensors.close();
  });
});

describe("a sensor's port on the command line", () => {
  const { sensors } = readProfiles(null);

  it.each([
    ["/dev/ttyUSB1", "gnss", "/dev/ttyUSB1", 9600],
    ["/dev/ttyUSB1:4800", "gnss", "/dev/ttyUSB1", 4800],
    ["COM5", "lightMeter", "COM5", 115_200],
    ["/dev/serial/by-path/pci-0:1:9600", "climate", "/dev/serial/by-path/pci-0:1", 9600],
  ] as const)("%s as %s is %s at %d baud", (word, kind, path, baudRate) => {
    expect(sensorTarget(word, kind, sensors)).toMatchObject({ kind, path, baudRate });
  });
});

function makeHub() {
  const lines: string[] = [];
  const events: SensorEvent[] = [];
  let say: (bytes: Uint8Array) => void = () => undefined;
  const port: SensorPort = {
    on: (event: string, listener: (bytes: Uint8Array) => void) => {
      if (event === "data") say = listener;
    },
    close: () => undefined,
  };
  const hub = new SensorHub({
    targets: [{ kind: "gnss", path: "/dev/gnss", baudRate: 9600, silenceMsMax: 60_000 }],
    nowUtcMs: () => utcMs(NOON_UTC_MS + 1500),
    open: () => Promise.resolve(port),
    print: (line) => lines.push(line),
  });
  hub.onEvent((event) => events.push(event));
  return { hub, lines, events, say: (text: string) => say(Buffer.from(text)) };
}

describe("the hub of the sensors", () => {
  it("waits for the receiver's first place, and keeps the clock's error", async () => {
    const { hub, lines, events, say } = makeHub();
    const place = hub.firstPlace(60_000);
    await new Promise((resolve) => setImmediate(resolve));
    const body = "GNRMC,120000.00,A,6854.000,N,02700.000,E,0,0,240327,,,A";
    say(`$${body}*${checksumOf(body).toString(16).padStart(2, "0")}\n`);
    expect(await place).toEqual({ latitudeDeg: 68.9, longitudeDeg: 27, elevationM: null });
    expect(hub.laptopLessGnssMs).toBe(1500);
    expect(lines).toEqual(["The GNSS receiver on /dev/gnss is there."]);
    expect(events.map(({ kind }) => kind)).toEqual(["presence", "clock", "place"]);
    await hub.close();
  });

  it("does not wait longer than it is asked to for a receiver under a roof", async () => {
    const { hub } = makeHub();
    expect(await hub.firstPlace(10)).toBeNull();
    await hub.close();
  });
});

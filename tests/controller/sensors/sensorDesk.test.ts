import { describe, expect, it } from "vitest";
import { SensorDesk } from "../../../controller/sensors/sensorDesk.ts";
import type { SensorEvent } from "../../../controller/sensors/sensors.ts";
import type { SensorPort } from "../../../controller/sensors/serialLines.ts";
import { checksumOf } from "../../../core/sensors/nmea.ts";
import { utcMs } from "../../../core/units.ts";

const NOON_UTC_MS = Date.UTC(2027, 2, 24, 12);

function makeDesk() {
  const lines: string[] = [];
  const events: SensorEvent[] = [];
  let say: (bytes: Uint8Array) => void = () => undefined;
  const port: SensorPort = {
    on: (event: string, listener: (bytes: Uint8Array) => void) => {
      if (event === "data") say = listener;
    },
    close: () => undefined,
  };
  const desk = new SensorDesk({
    targets: [{ kind: "gnss", path: "/dev/gnss", baudRate: 9600, silenceMsMax: 60_000 }],
    nowUtcMs: () => utcMs(NOON_UTC_MS + 1500),
    open: () => Promise.resolve(port),
    print: (line) => lines.push(line),
  });
  desk.onEvent((event) => events.push(event));
  return { desk, lines, events, say: (text: string) => say(Buffer.from(text)) };
}

describe("the desk of the sensors", () => {
  it("waits for the receiver's first place, and keeps the clock's error", async () => {
    const { desk, lines, events, say } = makeDesk();
    const place = desk.firstPlace(60_000);
    await new Promise((resolve) => setImmediate(resolve));
    const body = "GNRMC,120000.00,A,6854.000,N,02700.000,E,0,0,240327,,,A";
    say(`$${body}*${checksumOf(body).toString(16).padStart(2, "0")}\n`);
    expect(await place).toEqual({ latitudeDeg: 68.9, longitudeDeg: 27, elevationM: null });
    expect(desk.laptopLessGnssMs).toBe(1500);
    expect(lines).toEqual(["The GNSS receiver on /dev/gnss is there."]);
    expect(events.map(({ kind }) => kind)).toEqual(["presence", "clock", "place"]);
    await desk.close();
  });

  it("does not wait longer than it is told for a receiver under a roof", async () => {
    const { desk } = makeDesk();
    expect(await desk.firstPlace(10)).toBeNull();
    await desk.close();
  });
});

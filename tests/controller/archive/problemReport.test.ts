import { mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { basename, join } from "node:path";
import { unzipSync } from "fflate";
import { describe, expect, it } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { writeProblemReport } from "../../../controller/archive/problemReport.ts";
import { monotonicMs, utcMs } from "../../../core/units.ts";
import { hasTool, runTool } from "../../support/outsideTool.ts";
import { makeFrame, NIGHT_START_UTC_MS } from "../../support/frameRecords.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const SERIAL = "0042137X9";
const TOKEN = "a-token-that-nobody-else-may-have";
const NIGHT = {
  name: "quiet",
  startUtcMs: NIGHT_START_UTC_MS,
  latitudeDeg: 68.9013,
  longitudeDeg: 27.0168,
  elevationM: 148,
  placeName: "Behind Grandmother's Barn",
  isRehearsal: false,
};
const hasUnzip = hasTool("unzip", "a problem report is not opened from outside");

/** A night of real time with three frames, a log, a profile and a token. */
function nightWithSecrets(): { readonly dataDir: string; readonly nightDir: string } {
  const dataDir = temporaryFolder();
  const nightDir = createNightFolder(dataDir, NIGHT);
  const catalogue = Catalogue.create(nightDir, NIGHT);
  for (let frameIndex = 0; frameIndex < 3; frameIndex += 1) {
    catalogue.putFrame(makeFrame({ frameIndex }));
    catalogue.putSlice("made-up", frameIndex, {
      thumbnailJpeg: Uint8Array.of(0xff, 0xd8, 0xff, frameIndex),
      column: new Uint8Array(3),
    });
  }
  catalogue.appendEvent({
    ...{ kind: "connected", atMs: monotonicMs(0), utcMs: utcMs(NIGHT_START_UTC_MS) },
    body: {
      description: { label: "A camera", serialNumber: SERIAL, place: "USB 1-2" },
      remarks: [`Camera ${SERIAL} at 68.90, 27.02 says hello.`],
    },
  });
  catalogue.close();
  const at = (minutes: number): string =>
    new Date(NIGHT_START_UTC_MS + minutes * 60_000).toISOString();
  const log = [
    { time: at(1), event: "frame.kept", night: NIGHT.placeName, file: join(dataDir, "x.jpg") },
    { time: at(2), event: "sensor.place", latitudeDeg: 68.9013, lon: 27.0168 },
    {
      time: at(3),
      event: "camera.failed",
      why: `no answer from ${SERIAL} of ida on vm, root hub 1, /home/ida/x`,
    },
    { time: at(-3000), event: "another.night" },
  ];
  const lines = [...log.map((entry) => JSON.stringify(entry)), "half a li"];
  writeFileSync(join(dataDir, "nattvakt.log"), lines.join("\n"));
  const profiles = join(dataDir, "profiles", "cameras");
  mkdirSync(profiles, { recursive: true });
  writeFileSync(
    join(profiles, `local-${SERIAL}.json`),
    JSON.stringify({ id: `local-${SERIAL}`, match: { serialNumber: SERIAL } }),
  );
  writeFileSync(join(dataDir, "metrics-token"), TOKEN);
  return { dataDir, nightDir };
}

describe("a problem report", () => {
  const textOf = (bytes: Uint8Array): string => Buffer.from(bytes).toString("utf8");

  it("holds the night's events, frames, log and profile", () => {
    const file = writeProblemReport({ ...nightWithSecrets(), withPictures: false });
    const packed = unzipSync(readFileSync(file));
    const linesOf = (name: string): string[] => textOf(packed[name]!).trim().split("\n");
    expect(linesOf("frames.jsonl")).toHaveLength(3);
    expect(linesOf("events.jsonl")).toHaveLength(1);
    expect(
      linesOf("log.jsonl").map((line) => (JSON.parse(line) as { event: string }).event),
    ).toEqual(["frame.kept", "sensor.place", "camera.failed"]);
    const profiles = Object.keys(packed).filter((name) => name.startsWith("profiles/"));
    expect(profiles).toHaveLength(1);
    expect(Object.keys(packed).filter((name) => name.startsWith("thumbnails/"))).toEqual([]);
  });

  it("says nothing of place, token, serial number, account and folders", () => {
    const { dataDir, nightDir } = nightWithSecrets();
    const computer = { name: "vm", account: "ida", home: "/home/ida" };
    const file = writeProblemReport({ dataDir, nightDir, computer, withPictures: true });
    const everything = Object.entries(unzipSync(readFileSync(file)))
      .map(([name, bytes]) => `${name}\n${textOf(bytes)}`)
      .join("\n");
    const secrets = [SERIAL, TOKEN, NIGHT.placeName, "68.90", "27.01", "27.02", dataDir];
    for (const secret of [...secrets, "/home/ida", "of ida", "on vm"]) {
      expect(everything, secret).not.toContain(secret);
    }
    // A name that stands in another word by chance leaves that word alone.
    expect(everything).toContain("of (account) on (computer), root hub 1, HOME/x");
    // One camera stays one camera, in events, log and profile.
    expect(new Set(everything.match(/serial-[0-9a-f]{12}/g))).toHaveProperty("size", 1);
  });

  it("takes the small pictures along when they are asked for", () => {
    const file = writeProblemReport({ ...nightWithSecrets(), withPictures: true });
    const packed = unzipSync(readFileSync(file));
    expect(packed["thumbnails/made-up-2.jpg"]).toEqual(Uint8Array.of(0xff, 0xd8, 0xff, 2));
  });

  it.runIf(hasUnzip)("is a zip file to somebody else's program", () => {
    const file = writeProblemReport({ ...nightWithSecrets(), withPictures: false });
    expect(basename(file)).toBe("2026-01-10_quiet-report.zip");
    expect(runTool("unzip", ["-t", file])).toMatch(/No errors detected/);
  });
});

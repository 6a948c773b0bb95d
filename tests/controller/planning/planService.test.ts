import { mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { createServer, type Server } from "node:http";
import type { AddressInfo } from "node:net";
import { join } from "node:path";
import sharp from "sharp";
import { describe, expect, it, onTestFinished } from "vitest";

import { UNKNOWN_CAMERA } from "../../../core/plan/checklist.ts";
import { PlanService } from "../../../controller/planning/planService.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const NOW = Date.parse("2026-11-10T20:00:00Z");
const QUERY = { latitudeDeg: 68.9, longitudeDeg: 27, date: "2026-11-10" };
const KIT = { name: "Night kit", sensorClass: "crop", focalLengthMm: 11, fNumberWidest: 2.8 };

function serviceIn(dataFolder: string, kpFeedUrl: string | null = null): PlanService {
  const service = new PlanService({ dataFolder, kpFeedUrl, nowUtcMs: () => NOW });
  onTestFinished(() => service.close());
  return service;
}

async function feedServer(answer: (server: Server) => string | null): Promise<string> {
  const server = createServer((_request, response) => {
    const text = answer(server);
    if (text !== null) response.end(text);
  });
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  onTestFinished(() => {
    server.closeAllConnections();
    server.close();
  });
  return `http://127.0.0.1:${(server.address() as AddressInfo).port}/kp.json`;
}

/** A grey sky over black land whose edge falls to the right, as a large JPEG. */
function tiltedShore(tiltDeg: number): Promise<Buffer> {
  const [width, height] = [1800, 1200];
  const slope = Math.tan((tiltDeg * Math.PI) / 180);
  const pixels = Buffer.alloc(width * height * 3);
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) {
      const code = y > 850 + slope * (x - width / 2) ? 6 : 60;
      pixels.fill(code, (y * width + x) * 3, (y * width + x) * 3 + 3);
    }
  }
  return sharp(pixels, { raw: { width, height, channels: 3 } })
    .jpeg()
    .toBuffer();
}

async function until(isTrue: () => boolean): Promise<void> {
  while (!isTrue()) await new Promise((resolve) => setImmediate(resolve));
}

describe("the plan service", () => {
  it("tells where a receiver stands, and null without one", () => {
    const place = { latitudeDeg: 64, longitudeDeg: 20, elevationM: 120 };
    const sensing = new PlanService({
      dataFolder: temporaryFolder(),
      kpFeedUrl: null,
      nowUtcMs: () => NOW,
      sensedPlace: () => place,
    });
    onTestFinished(() => sensing.close());
    expect(sensing.sensedPlace()).toEqual(place);
    expect(serviceIn(temporaryFolder()).sensedPlace()).toBeNull();
  });

  it("answers with a plan for the usual kit and says that no feed is named", () => {
    const { plan, kpFeed } = serviceIn(temporaryFolder()).plan(QUERY);
    expect(plan.kit.focalLengthMm).toBe(16);
    expect(plan.darkness).toBe("window");
    expect(kpFeed.kind).toBe("none");
  });

  it.each([
    [{ ...QUERY, latitudeDeg: 91 }, /Latitude must be from -90 to 90/],
    [{ ...QUERY, latitudeDeg: "north" }, /Latitude must be a number/],
    [{ ...QUERY, date: "2026-02-31" }, /There is no 2026-02-31/],
    [{ ...QUERY, kitName: "lost" }, /There is no kit called "lost"/],
    [
      { ...QUERY, kit: { ...KIT, focalLengthMm: 0 } },
      /focal length must be from 1 to 2000 mm, not 0/,
    ],
    [{ latitudeDeg: 68.9 }, /longitudeDeg|Longitude/],
    ["tonight", /must be an object/],
  ])("refuses %j in one sentence", (query, sentence) => {
    expect(() => serviceIn(temporaryFolder()).plan(query)).toThrow(sentence);
  });

  it("remembers kits by name over a restart, replaces and forgets them", () => {
    const folder = temporaryFolder();
    serviceIn(folder).putKit(KIT);
    serviceIn(folder).putKit({ ...KIT, focalLengthMm: 10 });
    const again = serviceIn(folder);
    expect(again.kits().map(({ kit }) => [kit.name, kit.focalLengthMm])).toEqual([
      ["Night kit", 10],
    ]);
    expect(again.plan({ ...QUERY, kitName: "Night kit" }).plan.kit.focalLengthMm).toBe(10);
    again.removeKit("Night kit");
    expect(serviceIn(folder).kits()).toEqual([]);
    expect(() => again.removeKit("Night kit")).toThrow(/no kit called/);
  });

  it("remembers places with their dark sky and plans with it", () => {
    const service = serviceIn(temporaryFolder());
    service.putPlace({
      name: " Hut Seven ",
      latitudeDeg: 68.9,
      longitudeDeg: 27,
      darkZenithMag: 20.5,
    });
    expect(service.places()[0]).toMatchObject({ name: "Hut Seven", elevationM: 0 });
    const darkest = (placeName: string) =>
      Math.max(
        ...service.plan({ ...QUERY, placeName }).plan.samples.map((sample) => sample.skyMagArcsec2),
      );
    expect(darkest("Hut Seven")).toBeLessThan(darkest("elsewhere") - 1);
  });

  it.each([
    [{ name: "  ", latitudeDeg: 1, longitudeDeg: 1 }, /Give the place a name/],
    [{ latitudeDeg: 1, longitudeDeg: 1 }, /name/],
    [{ name: "x", latitudeDeg: 91, longitudeDeg: 1 }, /Latitude/],
  ])("refuses the place %j", (place, sentence) => {
    expect(() => serviceIn(temporaryFolder()).putPlace(place)).toThrow(sentence);
  });

  it("names a damaged file rather than losing what is in it", () => {
    const folder = temporaryFolder();
    writeFileSync(join(folder, "kits.json"), "{ half a fi");
    const service = serviceIn(folder);
    expect(() => service.kits()).toThrow(/Cannot read .*kits\.json/);
    expect(() => service.putKit(KIT)).toThrow(/Cannot read/);
    expect(readFileSync(join(folder, "kits.json"), "utf8")).toBe("{ half a fi");
  });

  it("says which file it could not write", () => {
    const folder = temporaryFolder();
    // A folder in the way of the new file.
    mkdirSync(join(folder, "kits.json.part"));
    expect(() => serviceIn(folder).putKit(KIT)).toThrow(/Cannot write .*kits\.json/);
  });

  it("reads the framing of a JPEG test frame, and refuses what is no picture", async () => {
    const service = serviceIn(temporaryFolder());
    const jpeg = await tiltedShore(5);
    const { horizon, isLevel } = await service.framing(jpeg);
    expect(isLevel).toBe(false);
    expect(horizon.kind === "found" && Math.abs(horizon.tiltDeg - 5) < 0.5).toBe(true);
    await expect(service.framing(new TextEncoder().encode("no picture"))).rejects.toThrow(
      /cannot be read as a picture/,
    );
  });

  it("writes the same night as a calendar", () => {
    expect(serviceIn(temporaryFolder()).calendar(QUERY)).toContain("SUMMARY:Aurora watch\r\n");
  });

  it("answers the checklist of a camera that tells nothing", () => {
    const { openCount } = serviceIn(temporaryFolder()).checklist({
      facts: UNKNOWN_CAMERA,
      ticks: ["strapTied"],
      needs: { bytes: 1e9, batteries: 1 },
    });
    expect(openCount).toBe(18);
  });

  it("rehearses tonight in a thread, with progress, to a hundred skies", async () => {
    const service = serviceIn(temporaryFolder());
    const spring = { ...QUERY, date: "2026-04-10" };
    expect(service.startTonight({ ...spring, activity: "quiet" })).toMatchObject({
      kind: "running",
      skyCount: 100,
    });
    const result = await service.tonightFinished();
    expect(result.skyCount).toBe(100);
    expect(service.tonight().kind).toBe("done");
  });

  it("refuses to rehearse a midsummer night", () => {
    const service = serviceIn(temporaryFolder());
    expect(() => service.startTonight({ ...QUERY, date: "2026-06-21", activity: "quiet" })).toThrow(
      /no watch to rehearse/,
    );
    expect(() => service.startTonight({ ...QUERY, activity: "wild" })).toThrow(/activity/);
    expect(service.tonight().kind).toBe("none");
  });
});

describe("the Kp feed", () => {
  const FEED = JSON.stringify([
    ["time_tag", "Kp"],
    ["2026-11-10 18:00:00", "4.33"],
  ]);

  it("is shown with its age once it has answered, and kept for later nights without network", async () => {
    const folder = temporaryFolder();
    const url = await feedServer(() => FEED);
    const service = serviceIn(folder, url);
    expect(service.plan(QUERY).kpFeed.kind).toBe("waiting");
    await until(() => service.kpFeed().kind !== "waiting");
    expect(service.kpFeed()).toMatchObject({ kind: "fresh", kp: 4.33, ageMinutes: 120 });
    expect(serviceIn(folder, url).plan(QUERY).kpFeed.kp).toBe(4.33);
  });

  it("is not waited for when it hangs", async () => {
    const url = await feedServer(() => null);
    const { plan, kpFeed } = serviceIn(temporaryFolder(), url).plan(QUERY);
    expect(plan.aurora).toHaveLength(10);
    expect(kpFeed).toMatchObject({ kind: "waiting", kp: null });
  });

  it("is called unreachable when it answers nonsense or nothing", async () => {
    const url = await feedServer(() => "<html>");
    const service = serviceIn(temporaryFolder(), url);
    await until(() => service.kpFeed().kind !== "waiting");
    expect(service.kpFeed()).toMatchObject({ kind: "unreachable", kp: null });
  });

  it("says what its Kp means for the place: overhead at Kp 4.3 under the oval", async () => {
    const service = serviceIn(temporaryFolder(), await feedServer(() => FEED));
    expect(service.plan(QUERY).auroraNow).toBeNull();
    await until(() => service.kpFeed().kind !== "waiting");
    expect(service.plan(QUERY).auroraNow).toMatchObject({ kp: 4.33, standing: "overhead" });
  });

  it("is remembered when named on the page, and forgotten when asked", async () => {
    const folder = temporaryFolder();
    const url = await feedServer(() => FEED);
    expect(serviceIn(folder).nameKpFeed(url).kind).toBe("waiting");
    const again = serviceIn(folder);
    await until(() => again.kpFeed().kind !== "waiting");
    expect(again.kpFeed().kp).toBe(4.33);
    expect(again.nameKpFeed(null).kind).toBe("none");
    expect(serviceIn(folder).kpFeed().kind).toBe("none");
    expect(() => again.nameKpFeed("gopher://x")).toThrow(/http or https/);
  });

  it("must have an address of the web", () => {
    expect(() => serviceIn(temporaryFolder(), "file:///etc/passwd")).toThrow(/http or https/);
  });
});

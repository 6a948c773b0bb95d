import { existsSync, readFileSync, readdirSync, rmSync, statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import sharp from "sharp";
import { describe, expect, it } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { keepFrameFile, sha256Of } from "../../../controller/archive/frameFiles.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { SET_EDITS_KEY } from "../../../controller/archive/stateKeys.ts";
import type { DeliverProgress } from "../../../core/api/deliverMessages.ts";
import { NightError } from "../../../core/errors.ts";
import { NO_EDITS } from "../../../core/frames/frameSets.ts";
import { deliverInTest } from "../../support/deliverInTest.ts";
import { renderNight } from "../../support/renderedNight.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const SMALL = { count: 10, widthPx: 180, heightPx: 120 };

function checksums(folder: string): Record<string, string> {
  return Object.fromEntries(
    readdirSync(folder).map((name) => [name, sha256Of(readFileSync(join(folder, name)))]),
  );
}

describe("delivering a night", () => {
  it("makes all of it: numbered frames, trail, keogram, contact sheet, report; and leaves the night's files as they were", async () => {
    const { nightDir } = await renderNight({ dataDir: temporaryFolder(), ...SMALL });
    const before = checksums(join(nightDir, "frames"));
    const outDir = join(nightDir, "deliver");
    const shares: number[] = [];
    const result = await deliverInTest(
      nightDir,
      outDir,
      { keogram: true, starTrail: true, contactSheet: true, report: true },
      { onProgress: ({ share }) => shares.push(share) },
    );
    expect(result.remarks).toEqual([]);
    expect(result.files.map((file) => file.kind)).toEqual([
      ...["sequence", "starTrail", "keogram", "contactSheet", "report"],
    ]);
    for (const file of result.files) expect(existsSync(join(outDir, file.path))).toBe(true);
    const names = readdirSync(join(outDir, result.files[0]!.path)).sort();
    expect(names).toEqual(
      Array.from({ length: 10 }, (_, n) => `${String(n + 1).padStart(6, "0")}.jpg`),
    );
    expect(checksums(join(nightDir, "frames"))).toEqual(before);
    expect([...shares].sort((a, b) => a - b)).toEqual(shares);
    expect(shares.at(-1)).toBe(1);
    const html = readFileSync(join(outDir, "report.html"), "utf8");
    expect(html).toContain("10 frames kept, none missing");
    expect(html.match(/<svg/g)).toHaveLength(1);
    // Nothing from elsewhere: pictures lie in the page, links lead into it.
    expect(html).not.toMatch(/(src|href)="(?!data:|#)/);
  });

  it("delivers 16-bit TIFF at full size when asked", async () => {
    const { nightDir } = await renderNight({ dataDir: temporaryFolder(), ...SMALL, count: 3 });
    const outDir = join(nightDir, "deliver");
    await deliverInTest(nightDir, outDir, { sequence: "tiff16" });
    const metadata = await sharp(join(outDir, "sequence-made-up-000000/000002.tif")).metadata();
    expect(metadata).toMatchObject({ width: 180, height: 120, depth: "ushort", channels: 3 });
  });

  it("delivers a single frame, keogram and all", async () => {
    const { nightDir } = await renderNight({ dataDir: temporaryFolder(), ...SMALL, count: 1 });
    const result = await deliverInTest(nightDir, join(nightDir, "deliver"), {
      ...{ keogram: true, contactSheet: true, report: true, starTrail: true },
    });
    expect(result.files).toHaveLength(5);
  });

  it("says that a night without frames has nothing to deliver, and makes nothing", async () => {
    const info = {
      ...{ name: "empty", latitudeDeg: 0, longitudeDeg: 0, placeName: "", isRehearsal: true },
      startUtcMs: 0 as never,
    };
    const nightDir = createNightFolder(temporaryFolder(), info);
    Catalogue.create(nightDir, info).close();
    await expect(deliverInTest(nightDir, join(nightDir, "deliver"))).rejects.toMatchObject({
      code: "deliver.failed",
      message: expect.stringMatching(/no frame that was kept/) as string,
    });
    expect(existsSync(join(nightDir, "deliver"))).toBe(false);
  });

  it("names missing, altered and unreadable files, with checksums, and delivers the rest", async () => {
    const { nightDir } = await renderNight({ dataDir: temporaryFolder(), ...SMALL });
    rmSync(join(nightDir, "frames/000002.jpg"));
    const altered = join(nightDir, "frames/000005.jpg");
    writeFileSync(altered, Buffer.concat([readFileSync(altered), Buffer.from([0])]));
    const catalogue = Catalogue.open(nightDir);
    const broken = await keepFrameFile(nightDir, "000007.jpg", new TextEncoder().encode("no JPEG"));
    const frame = catalogue.frame("made-up", 7)!;
    catalogue.putFrame({ ...frame, file: { ...frame.file!, ...broken } });
    catalogue.close();
    const result = await deliverInTest(nightDir, join(nightDir, "deliver"));
    const remarks = [...result.remarks].sort();
    expect(remarks).toHaveLength(3);
    expect(remarks.join("\n")).toMatch(/frames\/000002\.jpg is missing; frame 2 is left out/);
    expect(remarks.join("\n")).toMatch(
      /frames\/000005\.jpg was altered \(its SHA-256 is [0-9a-f]{64}/,
    );
    expect(remarks.join("\n")).toMatch(/000007\.jpg is not a picture|no JPEG in the file/);
    expect(result.files[0]).toMatchObject({ kind: "sequence", frameCount: 7 });
  });

  it("refuses a set of frames of different sizes in one sentence that names them", async () => {
    const { nightDir } = await renderNight({ dataDir: temporaryFolder(), ...SMALL });
    const catalogue = Catalogue.open(nightDir);
    const odd = await sharp({ create: { width: 90, height: 60, channels: 3, background: "#223" } })
      .jpeg()
      .toBuffer();
    const kept = await keepFrameFile(nightDir, "000004.jpg", odd);
    const frame = catalogue.frame("made-up", 4)!;
    catalogue.putFrame({ ...frame, file: { ...frame.file!, ...kept } });
    catalogue.close();
    await expect(deliverInTest(nightDir, join(nightDir, "deliver"))).rejects.toMatchObject({
      code: "deliver.failed",
      message: expect.stringMatching(/180 × 120 px, but frame 4 is 90 × 60 px/) as string,
    });
  });

  it("says that a target which is a file cannot be written, and harms nothing", async () => {
    const { nightDir } = await renderNight({ dataDir: temporaryFolder(), ...SMALL, count: 2 });
    const target = join(nightDir, "night.json");
    const before = readFileSync(target, "utf8");
    await expect(deliverInTest(nightDir, target)).rejects.toMatchObject({
      code: "archive.read_only",
    });
    expect(readFileSync(target, "utf8")).toBe(before);
  });

  it("stops when asked to, leaves only whole frames, and goes on from them", async () => {
    const { nightDir } = await renderNight({ dataDir: temporaryFolder(), ...SMALL });
    const outDir = join(nightDir, "deliver");
    const stop = new AbortController();
    const stopped = deliverInTest(
      nightDir,
      outDir,
      { videos: ["h264"] },
      {
        signal: stop.signal,
        onProgress: ({ stage, doneCount }) => {
          if (stage === "frames" && doneCount === 4) {
            stop.abort(new NightError("deliver.failed", "The delivery was stopped."));
          }
        },
      },
    );
    await expect(stopped).rejects.toMatchObject({ message: "The delivery was stopped." });
    const folder = join(outDir, "sequence-made-up-000000");
    const whole = readdirSync(folder).filter((name) => name.endsWith(".jpg"));
    expect(whole.length).toBeGreaterThanOrEqual(4);
    expect(readdirSync(outDir).filter((name) => name.startsWith("film"))).toEqual([]);
    const first = statSync(join(folder, whole[0]!)).mtimeMs;
    const result = await deliverInTest(nightDir, outDir, { videos: ["h264"], resume: true });
    expect(statSync(join(folder, whole[0]!)).mtimeMs).toBe(first);
    expect(readdirSync(folder).filter((name) => name.endsWith(".jpg"))).toHaveLength(10);
    expect(result.files.map((file) => file.kind)).toEqual(["sequence", "video"]);
    await expect(
      deliverInTest(nightDir, outDir, { videos: [], resume: true }),
    ).rejects.toMatchObject({ message: expect.stringMatching(/without --resume/) as string });
  });

  it.each(["jpeg", "tiff16"] as const)(
    "reports a film by the pictures that are in it, from %s, and is not at its end before the film is",
    async (sequence) => {
      const { nightDir } = await renderNight({ dataDir: temporaryFolder(), ...SMALL });
      const outDir = join(nightDir, "deliver");
      const reported: DeliverProgress[] = [];
      const wasThere: boolean[] = [];
      await deliverInTest(
        nightDir,
        outDir,
        { sequence, videos: ["vp9"] },
        {
          onProgress: (progress) => {
            reported.push(progress);
            wasThere.push(existsSync(join(outDir, "film-made-up-000000.webm")));
          },
        },
      );
      const films = reported.filter(({ stage }) => stage === "video");
      expect(films.at(-1)).toMatchObject({ doneCount: 10, totalCount: 10 });
      const early = reported.filter((_, n) => !wasThere[n]);
      expect(early.length).toBeGreaterThan(10);
      expect(reported.findIndex(({ share }) => share === 1)).toBeGreaterThanOrEqual(
        wasThere.indexOf(true),
      );
    },
  );

  it("goes on after its first of two sets without making that set's film again", async () => {
    const { nightDir } = await renderNight({ dataDir: temporaryFolder(), ...SMALL });
    const catalogue = Catalogue.open(nightDir);
    const cuts = [{ cameraId: "made-up", frameIndex: 5 }];
    catalogue.setState(SET_EDITS_KEY, { ...NO_EDITS, cuts });
    catalogue.close();
    const outDir = join(nightDir, "deliver");
    const stop = new AbortController();
    const stopped = deliverInTest(
      nightDir,
      outDir,
      { videos: ["h264"] },
      {
        signal: stop.signal,
        onProgress: ({ stage, label }) => {
          if (stage === "frames" && label.endsWith("Set 2")) stop.abort(new Error("stopped"));
        },
      },
    );
    await expect(stopped).rejects.toThrow("stopped");
    const first = join(outDir, "film-made-up-000000.mp4");
    const made = statSync(first).mtimeMs;
    const result = await deliverInTest(nightDir, outDir, { videos: ["h264"], resume: true });
    expect(statSync(first).mtimeMs).toBe(made);
    expect(result.files.map(({ kind, frameCount }) => `${kind} ${frameCount}`)).toEqual([
      ...["sequence 5", "video 5", "sequence 5", "video 5"],
    ]);
    await deliverInTest(nightDir, outDir, { videos: ["h264"] });
    expect(statSync(first).mtimeMs).toBeGreaterThan(made);
  });

  it("delivers only the frames between two times", async () => {
    const { nightDir } = await renderNight({ dataDir: temporaryFolder(), ...SMALL });
    const start = Date.UTC(2026, 0, 10, 20, 0, 0);
    const result = await deliverInTest(nightDir, join(nightDir, "deliver"), {
      fromUtcMs: start + 20_000,
      toUtcMs: start + 60_000,
    });
    expect(result.files[0]).toMatchObject({ frameCount: 4 });
  });
});

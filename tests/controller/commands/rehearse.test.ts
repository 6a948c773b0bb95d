import { spawnSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, describe, expect, it } from "vitest";

const folder = mkdtempSync(join(tmpdir(), "rehearse-"));
const sky = join(folder, "sky.csv");

beforeAll(() => {
  const rows = Array.from({ length: 61 }, (_, index) => {
    const luminance = 1e-3 * 2 ** Math.sin(index / 9);
    return `${index * 10},${luminance},3,0.05`;
  });
  writeFileSync(sky, `seconds,luminanceCdM2,peakRatio,driftDegPerSecond\n${rows.join("\n")}\n`);
});

afterAll(() => rmSync(folder, { recursive: true }));

function rehearse(...args: string[]) {
  const run = spawnSync(
    process.execPath,
    ["--import", "tsx", "controller/commands/rehearse.ts", ...args],
    { encoding: "utf8" },
  );
  return { code: run.status, out: run.stdout, err: run.stderr };
}

describe("npm run rehearse", () => {
  it("writes one JSON object a frame and ends standard output with the score", () => {
    const out = join(folder, "frames.jsonl");
    const run = rehearse("--sky", sky, "--out", out, "--target-stops", "-1.5", "--seed", "4");
    expect(run).toMatchObject({ code: 0, err: "" });
    const score = JSON.parse(run.out.trimEnd().split("\n").at(-1)!) as Record<string, number>;
    const frames = readFileSync(out, "utf8")
      .trimEnd()
      .split("\n")
      .map((line) => JSON.parse(line) as Record<string, unknown>);
    expect(score).toMatchObject({ frames: frames.length, targetStops: -1.5, clippedFrames: 0 });
    expect(score["rmsErrorStops"]).toBeLessThan(0.1);
    expect(score["p95ErrorStops"]).toBeLessThan(0.2);
    expect(score["wallSeconds"]).toBeGreaterThan(0);
    frames.forEach((frame, index) => {
      expect(frame).toMatchObject({ index, fNumber: 2.8 });
      for (const key of ["startSeconds", "exposureSeconds", "iso", "meteredStops"]) {
        expect(frame[key]).toBeTypeOf("number");
      }
      expect(frame["reasons"]).not.toHaveLength(0);
    });
  });

  it.each([
    [["--sky", join(folder, "none.csv")], /^error: there is no sky file .*none\.csv\n$/],
    [["--ski", "a"], /^error: there is no option --ski; did you mean --sky\?\n$/],
    [
      ["--sky", sky, "--iso-min", "800", "--iso-max", "400"],
      /^error: --iso-min \(800\) must not lie above --iso-max \(400\)\n$/,
    ],
    [
      ["--sky", sky, "--out", join(folder, "no", "where")],
      /^error: the frames cannot be written to .*\(ENOENT\)\n$/,
    ],
  ])("answers %j with one line and exit code 2", (args, line) => {
    const run = rehearse(...args);
    expect(run.code).toBe(2);
    expect(run.out).toBe("");
    expect(run.err).toMatch(line);
  });

  it("shows its help and exits with 0", () => {
    const run = rehearse("--help");
    expect(run.code).toBe(0);
    expect(run.out).toContain("--light-meter-hz HZ");
  });
});

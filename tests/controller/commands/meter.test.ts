import { writeFileSync } from "node:fs";
import { join } from "node:path";
import sharp from "sharp";
import { describe, expect, test } from "vitest";
import { startProgram } from "../../support/program.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

async function meter(...args: string[]): Promise<{ code: number | null; printed: string }> {
  const program = startProgram("controller/commands/meter.ts", args);
  const code = await program.ended;
  return { code, printed: program.printed() };
}

async function grey(file: string, code: number): Promise<string> {
  await sharp({
    create: { width: 300, height: 200, channels: 3, background: { r: code, g: code, b: code } },
  })
    .withExif({ IFD2: { ExposureTime: "8/1", FNumber: "28/10" } })
    .jpeg()
    .toFile(file);
  return file;
}

describe("npm run meter", () => {
  test("says what it makes of files in order, exposure from Exif and from options", async () => {
    const folder = temporaryFolder();
    const first = await grey(join(folder, "a.jpg"), 118);
    const second = await grey(join(folder, "b.jpg"), 64);
    const { code, printed } = await meter("--json", "--iso", "1600", first, second);
    expect(code).toBe(0);
    const [a, b] = printed
      .trim()
      .split("\n")
      .map((line) => JSON.parse(line) as Record<string, unknown>);
    expect(a).toMatchObject({
      file: first,
      exposure: { exposureSeconds: 8, iso: 1600, fNumber: 2.8 },
      toneCurve: { isSure: false },
    });
    expect(a!["skyStops"]).toBeCloseTo(0, 1);
    // H = 0.65 L t / N² = 10 / S at mid-grey.
    expect(a!["skyLuminanceCdM2"]).toBeCloseTo((10 * 2.8 ** 2) / (0.65 * 8 * 1600), 4);
    expect(b!["skyStops"]).toBeCloseTo(-1.82, 1);
  });

  test("tells the luminance is not known when the exposure is not", async () => {
    const folder = temporaryFolder();
    const file = await grey(join(folder, "a.jpg"), 118);
    const { code, printed } = await meter(file);
    expect(code).toBe(0);
    expect(printed).toMatch(/\+0\.00 stops from mid-grey/);
    expect(printed).toMatch(/luminance +not known/);
  });

  test.each([
    ["a missing file", "none.jpg", null, /none\.jpg: there is no such file/],
    ["a corrupt file", "bad.jpg", "not a picture", /bad\.jpg: the image cannot be read/],
  ])("ends with 1 and one line for %s", async (_, name, content, sentence) => {
    const folder = temporaryFolder();
    const file = join(folder, name);
    if (content !== null) writeFileSync(file, content);
    const { code, printed } = await meter(file);
    expect(code).toBe(1);
    expect(printed.trim().split("\n")).toHaveLength(1);
    expect(printed).toMatch(sentence);
    expect(printed).not.toMatch(/\bat .*:\d+:\d+/);
  });

  test("ends with 2 when called without a file", async () => {
    const { code, printed } = await meter();
    expect(code).toBe(2);
    expect(printed.trim().split("\n")).toHaveLength(1);
  });
});

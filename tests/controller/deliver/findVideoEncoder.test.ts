import { statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { findVideoEncoder } from "../../../controller/deliver/videoEncoder.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const NOWHERE = "/nowhere/no-such-program";

function program(mode: number): string {
  const path = join(temporaryFolder(), "encoder");
  writeFileSync(path, "#!/bin/sh\nexit 0\n", { mode });
  return path;
}

describe.skipIf(process.platform === "win32")("the video encoder", () => {
  it("is the system's where it has one", () => {
    const system = program(0o755);
    expect(findVideoEncoder({ system, brought: () => program(0o755) })).toBe(system);
  });

  it("is the package's where the system has none, run bit or not", () => {
    const path = program(0o644);
    expect(findVideoEncoder({ system: NOWHERE, brought: () => path })).toBe(path);
    expect(statSync(path).mode & 0o111).toBe(0o111);
  });

  it("that is nowhere, or has no binary for this machine, is reported in one sentence", () => {
    const without = [
      () => NOWHERE,
      () => {
        throw new Error("Unsupported platform/architecture: made-up");
      },
    ];
    for (const brought of without) {
      expect(() => findVideoEncoder({ system: NOWHERE, brought })).toThrow(
        expect.objectContaining({
          code: "deliver.failed",
          message: expect.stringMatching(/^There is no ffmpeg .*--video none/) as string,
        }),
      );
    }
  });
});

import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { startPageBuild } from "../../controller/pageBuildProcess.ts";

describe("building the page beside the watch", () => {
  let folder: string;
  let printed: string[];
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), "nattvakt-page-build-"));
    printed = [];
  });
  afterEach(() => rmSync(folder, { recursive: true, force: true }));

  /** A build that does `code` in place of building. */
  function build(code: string) {
    const main = join(folder, "main.mjs");
    writeFileSync(main, code);
    return startPageBuild((line) => printed.push(line), pathToFileURL(main));
  }

  it("is building until its process has ended well, then ready", async () => {
    const page = build("process.exit(0)");
    expect(page.state()).toBe("building");
    await page.settled;
    expect(page.state()).toBe("ready");
    expect(printed).toEqual(["The page is built."]);
  });

  it("says in one line why a page could not be built, and that the watch goes on", async () => {
    const page = build('throw new Error("EROFS: read-only file system")');
    await page.settled;
    expect(page.state()).toBe("failed");
    expect(printed).toEqual([
      "The page could not be built (EROFS: read-only file system); the watch goes on without it. `npm run build` says more.",
    ]);
  });

  it("ends a build that is given up, and says nothing of it", async () => {
    const page = build("setInterval(() => undefined, 1000)");
    page.stop();
    await page.settled;
    expect(printed).toEqual([]);
  });
});

import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { gzipSync } from "node:zlib";
import { expect, test } from "vitest";
import { buildPageIfStale } from "../../controller/pageBuild.ts";
import { OWN_DIR } from "../../controller/ownFiles.ts";

/** What a phone on a slow link has to fetch before it sees the night. */
const FIRST_SCRIPT_KB_MAX = 90;

test("the scripts that the page begins with weigh at most 90 kB, compressed", async () => {
  await buildPageIfStale();
  const dist = join(OWN_DIR, "ui", "dist");
  const page = readFileSync(join(dist, "index.html"), "utf8");
  const scripts = [...page.matchAll(/(?:src|href)="\/?(assets\/[^"]+\.js)"/g)].map(
    ([, path]) => path!,
  );
  expect(scripts.length).toBeGreaterThan(0);
  expect(
    readdirSync(join(dist, "assets")).filter((name) => name.endsWith(".js")).length,
  ).toBeGreaterThan(scripts.length);
  const bytes = scripts.map(
    (path) => gzipSync(readFileSync(join(dist, path)), { level: 9 }).length,
  );
  expect(bytes.reduce((sum, one) => sum + one, 0) / 1000).toBeLessThan(FIRST_SCRIPT_KB_MAX);
}, 600_000);

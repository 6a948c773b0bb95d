// Makes what an installed package runs: the built page, and compiled JavaScript in `dist/`.
import { execFileSync } from "node:child_process";
import { rmSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { OWN_DIR } from "./ownFiles.ts";
import { buildPageIfStale } from "./pageBuild.ts";

await buildPageIfStale();
rmSync(join(OWN_DIR, "dist"), { recursive: true, force: true });
const compiler = createRequire(import.meta.url).resolve("typescript/bin/tsc");
execFileSync(process.execPath, [compiler, "--project", join(OWN_DIR, "tsconfig.package.json")], {
  stdio: "inherit",
});

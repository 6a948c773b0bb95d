import { execFileSync, spawnSync } from "node:child_process";
import { readdirSync, readFileSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { expect, it } from "vitest";
import { temporaryFolder } from "../support/temporaryFolder.ts";

const FILE = "controller/requireNode.cjs";
const complaintAbout = createRequire(import.meta.url)(`../../${FILE}`) as (
  version: string,
) => string | null;

it.each(["0.10.48", "16.20.2", "18.20.8", "20.18.3"])("Node %s is too old", (version) => {
  expect(complaintAbout(version)).toBe(
    `Nattvakt needs Node 20.19 or newer and this is Node ${version}; install a current one from nodejs.org and start again.`,
  );
});

it.each(["20.19.0", "20.20.2", "21.0.0", "22.23.5", "24.22.3", "26.12.1"])(
  "Node %s will do",
  (version) => expect(complaintAbout(version)).toBeNull(),
);

it("says nothing on this Node", () => {
  expect(execFileSync(process.execPath, [FILE], { encoding: "utf8" })).toBe("");
});

it("is asked before the commands with which a person begins", () => {
  const { scripts } = JSON.parse(readFileSync("package.json", "utf8")) as {
    scripts: Record<string, string>;
  };
  for (const name of ["start", "plan", "rehearse", "meter", "deliver", "bench-check", "test"]) {
    expect(scripts[`pre${name}`], name).toBe(`node ${FILE}`);
  }
});

it.each([FILE, "controller/nattvakt.cjs"])(
  "%s ends with 2 and one sentence on an old Node, before anything is written",
  (file) => {
    const folder = temporaryFolder();
    const old = join(temporaryFolder(), "old.cjs");
    writeFileSync(old, 'Object.defineProperty(process.versions, "node", { value: "12.22.12" });');
    const run = spawnSync(process.execPath, ["--require", old, file], {
      encoding: "utf8",
      env: { ...process.env, HOME: folder, XDG_DATA_HOME: folder },
    });
    expect(run.status).toBe(2);
    expect(run.stdout).toBe("");
    expect(run.stderr).toBe(`error: ${complaintAbout("12.22.12")!}\n`);
    expect(readdirSync(folder)).toEqual([]);
    // What a Node of 2009 does not understand it would complain of itself, with a stack of calls.
    const code = readFileSync(file, "utf8").replace(/^\s*\/[/*].*$/gm, "");
    expect(code).not.toMatch(/=>|`|^\s*(const|let|class|import)\b|import\(/m);
  },
);

import { readdirSync, readFileSync } from "node:fs";
import { dirname, join, relative, resolve } from "node:path";
import { fileURLToPath } from "node:url";
import { describe, expect, it } from "vitest";
import { arrowFault, FLOORS, floorOf, roomOf } from "./rooms.ts";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));

/** Packages that are pure: no I/O, no clock, no randomness. */
const PURE_PACKAGES = new Set(["astronomy-engine", "geomagnetism", "valibot"]);

type Source = { readonly file: string; readonly text: string; readonly imports: readonly string[] };

/** Rooms that the design has and nothing stands in yet. */
const PLANNED = new Set(["controller/stations"]);

/** Files whose first user in the product is being written. */
const AWAITED = new Set(["core/pointing/solvePointing.ts"]);

const sources = ["core", "controller", "ui", "tests"].flatMap((room) => read(join(ROOT, room)));
const products = sources.filter(({ file }) => /^(core|controller|ui)\//.test(file));

describe("the order of rooms", () => {
  it.each(sources.filter(({ file }) => file.startsWith("core/")).map(({ file }) => [file]))(
    "%s is pure",
    (file) => {
      const { text } = sources.find((source) => source.file === file)!;
      const code = withoutComments(text);
      expect(code, "Date.now is banned in core; take the time as an argument").not.toMatch(
        /\bDate\.now\b/,
      );
      expect(code, "new Date() is banned in core; take the time as an argument").not.toMatch(
        /\bnew Date\(\s*\)/,
      );
      expect(code, "Math.random is banned in core; take a `Random`").not.toMatch(
        /\bMath\.random\b/,
      );
      expect(code, "performance is banned in core; take the time as an argument").not.toMatch(
        /\bperformance\./,
      );
    },
  );

  it("imports run one way: ui → core, controller → core, core → itself", () => {
    const wrong: string[] = [];
    for (const { file, imports } of sources) {
      const room = file.split("/")[0]!;
      for (const target of imports) {
        const why = forbidden(room, target);
        if (why) wrong.push(`${file} imports ${target}: ${why}`);
      }
    }
    expect(wrong).toEqual([]);
  });

  it("lets no room import one above it, nor one on its own floor, types included", () => {
    const faults = products.flatMap(({ file, imports }) =>
      imports.filter((target) => target.startsWith(sideOf(file))).map((to) => arrowFault(file, to)),
    );
    expect(faults.filter((fault) => fault !== null)).toEqual([]);
  });

  it("hands memory to another thread in one place only", () => {
    // What remains of a file without its messages that hand nothing over: `port.postMessage(message)`.
    const plain = /\.postMessage\(\s*(\{[^{}]*\}|\w+)( satisfies \w+)?,?\s*\)/g;
    const handing = sources
      .filter(({ file }) => file.startsWith("controller/"))
      .filter(({ text }) => text.replace(plain, "").includes(".postMessage("));
    expect(handing.map(({ file }) => file)).toEqual(["controller/workers/ownedBytes.ts"]);
  });

  it("tells only the archive which SQLite there is", () => {
    const knowing = sources.filter(({ imports }) =>
      imports.some((target) => /(^|\/|:)(better-)?sqlite3?$/.test(target)),
    );
    expect(knowing.map(({ file }) => file)).toEqual(["controller/archive/sqliteFile.ts"]);
  });

  it("names every room once, and each has a file", () => {
    const rooms = FLOORS.flat();
    expect(new Set(rooms).size).toBe(rooms.length);
    const lived = new Set(products.map(({ file }) => roomOf(file)));
    expect(rooms.filter((room) => !lived.has(room) && !PLANNED.has(room))).toEqual([]);
  });

  it("finds an arrow up, one along a floor, and a file in no room", () => {
    expect(arrowFault("core/ptp/reader.ts", "core/watch/state.ts")).toMatch(
      /stands above it; move/,
    );
    expect(arrowFault("controller/night/replay.ts", "controller/shutter/wake.ts")).toMatch(
      /stands on the same floor; move/,
    );
    expect(arrowFault("core/helpers/one.ts", "core/units.ts")).toMatch(/stands in no room: name/);
    expect(arrowFault("core/watch/reduce.ts", "core/units.ts")).toBeNull();
    expect(floorOf("core/api")).toBeLessThan(floorOf("core/frames"));
  });

  it("has no circle among its files, types included", () => {
    expect(circles()).toEqual([]);
  });

  it("has no source file that no other file of the product imports", () => {
    const imported = new Set(products.flatMap(({ imports }) => imports));
    const started = new Set(startedFiles());
    const lonely = products
      .map(({ file }) => file)
      .filter((file) => !imported.has(file) && !started.has(file) && !/config\.ts$/.test(file))
      .filter((file) => !AWAITED.has(file))
      .map((file) => `${file} is the tests' alone: move it to tests/support, or delete it`);
    expect(lonely).toEqual([]);
  });

  it("starts workers and processes of its own in one way, for sources and compiled alike", () => {
    const wrong = sources.filter(
      ({ file, text }) =>
        file.startsWith("controller/") &&
        !file.startsWith("controller/workers/") &&
        /new Worker\(|(?<![.\w])fork\(|"--import"/.test(withoutComments(text)),
    );
    expect(wrong.map(({ file }) => file)).toEqual([]);
  });

  it("leaves no note-to-self behind", () => {
    const mark = ["FIX", "ME"].join("");
    expect(sources.filter(({ text }) => text.includes(mark)).map(({ file }) => file)).toEqual([]);
  });
});

function read(folder: string): Source[] {
  return readdirSync(folder, { withFileTypes: true }).flatMap((entry) => {
    const path = join(folder, entry.name);
    if (entry.isDirectory()) return ["dist", "fixtures"].includes(entry.name) ? [] : read(path);
    if (!/\.(ts|svelte)$/.test(entry.name)) return [];
    const text = readFileSync(path, "utf8");
    return [{ file: relative(ROOT, path), text, imports: importsOf(path, text) }];
  });
}

function importsOf(path: string, text: string): string[] {
  const statement =
    /(?:^|\n)\s*(?:import|export)\s+(?:type\s+)?(?:[^"';]*?\sfrom\s+)?["']([^"']+)["']|import\(\s*["']([^"']+)["']/g;
  return [...text.matchAll(statement)].map((match) => {
    const word = match[1] ?? match[2]!;
    return word.startsWith(".") ? relative(ROOT, resolve(dirname(path), word)) : word;
  });
}

/** The side of the program whose floors a file belongs to. */
function sideOf(file: string): string {
  const [side] = file.split("/");
  return side === "ui" ? "no floors/" : `${side}/`;
}

function forbidden(room: string, target: string): string | null {
  const [first, second] = target.split("/");
  const isOurs = ["core", "controller", "ui", "tests"].includes(first!);
  if (room === "tests") return null;
  if (isOurs && first === "tests") return "the product never imports its tests";
  if (room === "core") {
    if (isOurs) return first === "core" ? null : "core imports only core";
    const name = target.startsWith("@") ? `${first}/${second}` : first!;
    return PURE_PACKAGES.has(name) ? null : "core imports only pure libraries";
  }
  if (room === "controller" && first === "ui" && isOurs) return "the controller serves the API";
  if (room === "ui" && first === "controller") return "the page talks to the documented API";
  return null;
}

/** Files that are not imported but started: commands, workers, the page, what package.json names and its command loads. */
function startedFiles(): string[] {
  const scripts = ["package.json", "controller/importCommand.cjs"]
    .map((file) => readFileSync(join(ROOT, file), "utf8"))
    .join("\n");
  const named = [...scripts.matchAll(/[\w/-]+\.ts|dist\/[\w/-]+\.js/g)].map((match) =>
    match[0].replace(/^dist\/(.*)\.js$/, "$1.ts"),
  );
  const workers = sources.flatMap(({ file, text }) =>
    [...text.matchAll(/new URL\(\s*["'](\.[^"']+\.ts)["']/g)].map((match) =>
      relative(ROOT, resolve(ROOT, dirname(file), match[1]!)),
    ),
  );
  return [...named, ...workers, "ui/main.ts"];
}

/** Every circle of imports in words, each once. */
function circles(): string[] {
  const graph = new Map(products.map(({ file, imports }) => [file, imports]));
  const done = new Set<string>();
  const found: string[] = [];
  const walk = (file: string, path: readonly string[]): void => {
    if (path.includes(file)) {
      const circle = [...path.slice(path.indexOf(file)), file].join(" → ");
      found.push(`${circle}: move what goes round to a file of its own, below all of these`);
      return;
    }
    if (done.has(file)) return;
    for (const target of graph.get(file) ?? []) walk(target, [...path, file]);
    done.add(file);
  };
  for (const file of graph.keys()) walk(file, []);
  return found;
}

function withoutComments(text: string): string {
  return text.replace(/\/\*[\s\S]*?\*\//g, "").replace(/(^|[^:])\/\/.*$/gm, "$1");
}

import { mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import ts from "typescript";

const FOLDERS = ["core", "controller", "tests/support", "tests/usb-vm"];

/**
 * Strips the types from the program's sources, which takes the emulated machine minutes and the
 * host a second or two. `readyLoader` loads them in place of the ordinary loader.
 *
 * @returns the folder that holds them, each under its whole path.
 */
export function readySources(project: string, parent: string): string {
  const dir = join(parent, "ready");
  rmSync(dir, { recursive: true, force: true });
  for (const folder of FOLDERS) {
    for (const path of sourcesIn(join(project, folder))) {
      const target = `${join(dir, path)}.js`;
      mkdirSync(dirname(target), { recursive: true });
      writeFileSync(target, stripped(readFileSync(path, "utf8")));
    }
  }
  return dir;
}

function sourcesIn(folder: string): readonly string[] {
  return readdirSync(folder, { withFileTypes: true, recursive: true })
    .filter((entry) => entry.isFile() && entry.name.endsWith(".ts"))
    .map((entry) => join(entry.parentPath, entry.name));
}

function stripped(source: string): string {
  const { outputText } = ts.transpileModule(source, {
    compilerOptions: {
      target: ts.ScriptTarget.ES2023,
      module: ts.ModuleKind.ESNext,
      verbatimModuleSyntax: true,
    },
  });
  return outputText;
}

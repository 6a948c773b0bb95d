import { readFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";

/** Whether this is the compiled program of an installed package, or its sources in a clone. */
export const IS_COMPILED = import.meta.url.endsWith(".js");

/**
 * The program's own folder, which holds package.json, `hardware-profiles/` and the built page: the
 * clone, or the installed package, whose compiled files lie one folder deeper, in `dist/`.
 */
export const OWN_DIR = fileURLToPath(new URL(IS_COMPILED ? "../../" : "../", import.meta.url));

/**
 * Where a file of the program's code is that is started rather than imported: a worker, a process.
 *
 * @param source  Its source, as in `new URL("./x.ts", import.meta.url)`; compiled, the JavaScript
 *   lies beside the file that asks, as the source does in a clone.
 */
export function codeFile(source: URL): URL {
  return IS_COMPILED ? new URL(source.href.replace(/\.ts$/, ".js")) : source;
}

/** How one of the program's commands is called, for its help text; null: the program itself. */
export function callOf(command: string | null): string {
  if (IS_COMPILED) return command === null ? "nattvakt" : `nattvakt ${command}`;
  return command === null ? "npm start --" : `npm run ${command} --`;
}

/** This program's version, as package.json has it. */
export function packageVersion(): string {
  const text = readFileSync(join(OWN_DIR, "package.json"), "utf8");
  return (JSON.parse(text) as { version: string }).version;
}

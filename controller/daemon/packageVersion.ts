import { readFileSync } from "node:fs";

/** This program's version, as package.json has it. */
export function packageVersion(): string {
  const text = readFileSync(new URL("../../package.json", import.meta.url), "utf8");
  return (JSON.parse(text) as { version: string }).version;
}

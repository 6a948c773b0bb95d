import { relative, resolve } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";

/** Where the host's bound sources are, each beginning under its path below the project. */
const READY_DIR = process.env["NATTVAKT_READY_DIR"];
const PROJECT = resolve(READY_DIR, "../..");

export async function load(url, context, next) {
  if (!url.endsWith(".ts")) return await next(url, context);
  const path = relative(PROJECT, fileURLToPath(url));
  const ready = pathToFileURL(resolve(READY_DIR, `${path}.mjs`)).href;
  return { format: "module", source: `import ${JSON.stringify(ready)};`, shortCircuit: true };
}

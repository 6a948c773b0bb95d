import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { build, type Plugin } from "vite";

/** Every file that a process or a thread of the machine begins with. */
const BEGINNINGS = [
  "controller/commands/benchCheck.ts",
  "controller/release/contactMain.ts",
  "controller/shutter/shutterThread.ts",
  "tests/support/pagelessDaemon.ts",
  "tests/usb-vm/busProcess.ts",
  "tests/usb-vm/openOnce.ts",
  "tests/usb-vm/transferInside.ts",
];

/**
 * Binds the program's sources together, a file for each beginning and what they share, without
 * their types: reading hundreds of files takes the emulated machine half a minute a process, and
 * binding them the host a second or two. `readyLoader` loads them in place of the ordinary loader.
 *
 * @returns the folder that holds them, each beginning under its path below the project.
 */
export async function readySources(project: string, parent: string): Promise<string> {
  const dir = join(parent, "ready");
  await build({
    ...{ root: project, configFile: false, logLevel: "warn", plugins: [placesStay()] },
    build: {
      ...{ outDir: dir, emptyOutDir: true, ssr: true, target: "node20", minify: false },
      rollupOptions: {
        input: Object.fromEntries(BEGINNINGS.map((path) => [path, join(project, path)])),
        output: { entryFileNames: "[name].mjs", chunkFileNames: "shared/[name]-[hash].mjs" },
      },
    },
  });
  return dir;
}

/** A source goes on to find its neighbours where it was written. */
function placesStay(): Plugin {
  return {
    name: "places-stay",
    enforce: "pre",
    transform: (code, id) =>
      code.replaceAll("import.meta.url", JSON.stringify(pathToFileURL(id).href)),
  };
}

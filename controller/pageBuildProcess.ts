import { startProcess } from "./workers/startProcess.ts";

/** How far the page is: built; being built now; not to be built on this computer. */
export type PageState = "ready" | "building" | "failed";

/** A page that is built beside the watch. */
export type PageBuild = {
  readonly state: () => PageState;
  /** Resolves when nothing is being built any more, however it ended. */
  readonly settled: Promise<void>;
  /** Gives up a build that still runs. */
  readonly stop: () => void;
};

/**
 * Builds the page in a process of its own while the program starts.
 *
 * @param print  Called with the outcome, one line.
 * @param main  The process's own file.
 */
export function startPageBuild(
  print: (line: string) => void,
  main: URL = new URL("./pageBuildMain.ts", import.meta.url),
): PageBuild {
  const child = startProcess(main, [], { stdio: ["ignore", "ignore", "pipe", "ipc"] });
  let state: PageState = "building";
  let complaint = "";
  let isStopped = false;
  child.stderr!.setEncoding("utf8").on("data", (text: string) => (complaint += text));
  const settled = new Promise<void>((resolve) => {
    const settle = (outcome: "ready" | "failed", line: string): void => {
      if (state !== "building") return;
      state = outcome;
      if (!isStopped) print(line);
      resolve();
    };
    child.once("error", ({ message }) => settle("failed", failure(message)));
    child.once("close", (code) => {
      if (code === 0) settle("ready", "The page is built.");
      else settle("failed", failure(complaint));
    });
  });
  return {
    state: () => state,
    settled,
    stop: () => {
      isStopped = true;
      // It is worth no order; on Windows a half-built page stays behind in node_modules.
      child.kill();
    },
  };
}

function failure(complaint: string): string {
  const why = /^\w*Error: (.*)$/m.exec(complaint)?.[1] ?? "its process ended";
  return `The page could not be built (${why}); the watch goes on without it. \`npm run build\` says more.`;
}

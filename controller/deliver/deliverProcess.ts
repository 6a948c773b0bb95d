import { createInterface } from "node:readline";
import type { DeliverProgress, DeliverResult } from "../../core/api/deliverMessages.ts";
import type { WorkProgress } from "../../core/api/workProgress.ts";
import { askToEnd } from "../workers/askToEnd.ts";
import { startProcess } from "../workers/startProcess.ts";

/** One line that the command says with `--progress json`. */
export type DeliverLine =
  | { readonly kind: "progress"; readonly progress: WorkProgress | DeliverProgress }
  | { readonly kind: "sentence"; readonly sentence: string }
  | { readonly kind: "result"; readonly result: DeliverResult };

export type DeliverProcess = {
  /** Asks it to end in order, and ends it when it does not. */
  stop(): void;
};

/** How long stopped work may take to put things in order before it is ended, ms. */
const STOP_MS = 10_000;

/**
 * The command that delivers, in a process of its own at low priority, as it runs by hand.
 *
 * @param hear.line  Each line that it says.
 * @param hear.end  Its end: null when all went well, else one sentence.
 */
export function startDeliverProcess(
  argv: readonly string[],
  hear: {
    readonly line: (line: DeliverLine) => void;
    readonly end: (sentence: string | null) => void;
  },
): DeliverProcess {
  const script = new URL("../commands/deliver.ts", import.meta.url);
  const child = startProcess(script, [...argv, "--progress", "json"], {
    stdio: ["ignore", "pipe", "pipe", "ipc"],
  });
  let complaint = "";
  child.stderr!.on("data", (text: Buffer) => (complaint = `${complaint}${text.toString()}`));
  createInterface({ input: child.stdout! }).on("line", (text) => {
    hear.line(JSON.parse(text) as DeliverLine);
  });
  child.on("close", (code) => {
    const sentence = /^error: (.*)$/m.exec(complaint)?.[1] ?? "The work ended by itself.";
    hear.end(code === 0 ? null : sentence);
  });
  return {
    stop: () => {
      askToEnd(child);
      setTimeout(() => child.kill("SIGKILL"), STOP_MS).unref();
    },
  };
}

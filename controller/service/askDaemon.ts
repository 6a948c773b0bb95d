import type { DaemonView } from "../../core/api/messages.ts";
import { NightError } from "../../core/errors.ts";
import type { RunningProcess } from "./runningProcess.ts";

/** A daemon on this machine answers at once, or is busy with itself. */
const ANSWER_MS_MAX = 5_000;

/** How the running daemon stands. @throws NightError `daemon.busy` when it does not answer. */
export async function askDaemon({ pid, address }: RunningProcess): Promise<DaemonView> {
  try {
    const answer = await fetch(new URL("/api/state", address), {
      signal: AbortSignal.timeout(ANSWER_MS_MAX),
    });
    if (!answer.ok) throw new Error(`it answered ${answer.status}`);
    return (await answer.json()) as DaemonView;
  } catch (thrown) {
    throw new NightError(
      "daemon.busy",
      `Process ${pid} runs at ${address} and does not say how it stands; nattvakt.log in its data folder does.`,
      { pid, address },
      { cause: thrown },
    );
  }
}

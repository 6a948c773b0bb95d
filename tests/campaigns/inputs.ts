import { Script } from "node:vm";
import { NightError } from "../../core/errors.ts";
import { createRandom } from "../../core/random.ts";
import type { Campaign, CaseOutcome } from "./campaign.ts";
import { DECODERS, type Decoder } from "./decoders.ts";

/**
 * A thousand inputs of up to 8 kB take a tenth of a second; a case that takes two hundred times as
 * long on a busy machine hangs.
 */
const HANG_MS = 20_000;

/** No thousand inputs of 8 kB may make the program hold more than this for good. */
const HELD_BYTES_MAX = 64 * 1024 * 1024;

/**
 * Damaged inputs for everything that reads what strangers send: only the project's own errors may
 * come out of it, nothing may hang, and nothing may be held that the input did not bring.
 */
export const INPUTS: Campaign = {
  unit: "input",
  countDefault: 2_000_000,
  unitsPerCase: 1000,
  runCase: (seed, count) => Promise.resolve(tryInputs(DECODERS, seed, count)),
};

/** Tries `count` inputs, the decoders in turn. */
export function tryInputs(decoders: readonly Decoder[], seed: number, count: number): CaseOutcome {
  const random = createRandom(`inputs ${seed}`);
  const problems: string[] = [];
  const sums: Record<string, number> = { "read without an error": 0, refused: 0 };
  let current: { readonly decoder: Decoder; readonly input: unknown } | null = null;
  const heldBefore = heldBytes();
  const run = (): void => {
    for (let n = 0; n < count; n += 1) {
      const decoder = decoders[n % decoders.length]!;
      const input = decoder.input(random);
      current = { decoder, input };
      try {
        decoder.decode(input as never);
        sums["read without an error"]! += 1;
      } catch (thrown) {
        if (isOwnError(thrown)) sums["refused"]! += 1;
        else problems.push(`${decoder.name} threw ${String(thrown)} at ${shown(input)}.`);
      }
    }
  };
  const why = runWithin(HANG_MS, run);
  if (why !== null) {
    const { decoder, input } = current!;
    problems.push(`${decoder.name} ${why} at ${shown(input)}.`);
  }
  const held = heldBytes() - heldBefore;
  if (held > HELD_BYTES_MAX) {
    problems.push(`${count} inputs made the program hold ${Math.round(held / 2 ** 20)} MiB more.`);
  }
  return { problems, sums };
}

/** A decoder may refuse; that it has broken a promise of its own is a fault. */
function isOwnError(thrown: unknown): boolean {
  return thrown instanceof NightError && thrown.recovery !== "bug";
}

/** Buffers only: the heap is the collector's to clear when it likes. */
function heldBytes(): number {
  const { external, arrayBuffers } = process.memoryUsage();
  return external + arrayBuffers;
}

/** Runs a function and ends it when it takes too long: a script alone can be ended from outside. */
function runWithin(timeoutMs: number, run: () => void): string | null {
  const holder = globalThis as { runInputs?: () => void };
  holder.runInputs = run;
  try {
    new Script("globalThis.runInputs()").runInThisContext({ timeout: timeoutMs });
    return null;
  } catch (thrown) {
    if ((thrown as { code?: string }).code === "ERR_SCRIPT_EXECUTION_TIMEOUT") return "hangs";
    throw thrown;
  } finally {
    delete holder.runInputs;
  }
}

function shown(input: unknown): string {
  if (input instanceof Uint8Array) return `the bytes ${Buffer.from(input).toString("hex")}`;
  const text = typeof input === "string" ? input : (JSON.stringify(input) ?? "nothing");
  return text.length > 400 ? `${text.slice(0, 400)}… (${text.length} characters)` : text;
}

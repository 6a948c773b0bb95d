import { describe, expect, it } from "vitest";
import { NightError } from "../../core/errors.ts";
import { runCampaign } from "./campaign.ts";
import { DECODERS } from "./decoders.ts";
import { INPUTS, tryInputs } from "./inputs.ts";

describe("everything that reads what strangers send", () => {
  it("answers 50,000 damaged inputs with a value or an error of its own", async () => {
    const { failures, sums } = await runCampaign("inputs", INPUTS, { count: 50_000, seed: 1 });
    expect(failures).toEqual([]);
    // Damage that nothing notices, or that nothing survives, would try little.
    expect(sums["read without an error"]).toBeGreaterThan(5_000);
    expect(sums["refused"]).toBeGreaterThan(5_000);
  });

  it.each(DECODERS.map((decoder) => [decoder.name, decoder] as const))(
    "%s: reads some damaged inputs and refuses or reads others differently",
    (_name, decoder) => {
      const seen = new Set<string>();
      const watched = {
        ...decoder,
        decode: (input: never) => {
          try {
            const value = decoder.decode(input);
            seen.add(JSON.stringify(value, (_key, each: unknown) => textOf(each)) ?? "none");
            return value;
          } catch (thrown) {
            if (thrown instanceof NightError) seen.add(thrown.message);
            throw thrown;
          }
        },
      };
      expect(tryInputs([watched], 1, 300).problems).toEqual([]);
      expect(seen.size).toBeGreaterThan(1);
    },
  );
});

describe("the campaign itself", () => {
  it("names a foreign error, and the command that repeats it", async () => {
    const broken = { ...DECODERS[0]!, decode: () => JSON.parse("{") as unknown };
    const campaign = {
      ...INPUTS,
      runCase: (seed: number, count: number) => Promise.resolve(tryInputs([broken], seed, count)),
    };
    const { failures } = await runCampaign("inputs", campaign, { count: 1, seed: 5 });
    expect(failures).toHaveLength(1);
    expect(failures[0]).toMatch(/SyntaxError.*npm run campaign -- inputs --count 1 --seed 5$/);
  });

  it("counts a broken promise of the program's own as a fault", () => {
    const broken = {
      ...DECODERS[0]!,
      decode: () => {
        throw new NightError("invariant.violated", "it happened");
      },
    };
    expect(tryInputs([broken], 1, 2).problems).toHaveLength(2);
  });

  it("gives the same inputs for the same seed", () => {
    const inputsOf = (seed: number): unknown[] => {
      const inputs: unknown[] = [];
      const listening = DECODERS.map((decoder) => ({
        ...decoder,
        decode: (input: never) => inputs.push(input),
      }));
      tryInputs(listening, seed, 60);
      return inputs;
    };
    expect(inputsOf(3)).toEqual(inputsOf(3));
    expect(inputsOf(3)).not.toEqual(inputsOf(4));
  });
});

function textOf(value: unknown): unknown {
  return typeof value === "bigint" ? String(value) : value;
}

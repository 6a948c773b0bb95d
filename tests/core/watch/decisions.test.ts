import { describe, expect, it } from "vitest";
import { reduceWatch } from "../../../core/watch/reduce.ts";
import { at } from "../../support/watchFixtures.ts";
import { ALL_PHASES, EVERY_EVENT, nextMs, watchIn } from "../../support/watchPhases.ts";

const HEAD = `# What the watch does when

Every phase against every event, as the reducer decides it. Written by tests/core/watch/decisions.test.ts;
after a change that is meant, run that test with \`-u\` and read the difference.
`;

type Decision = { readonly event: string; readonly becomes: string; readonly does: string };

function decisionsIn(phase: (typeof ALL_PHASES)[number]): readonly Decision[] {
  return Object.values(EVERY_EVENT).map((event) => {
    const before = watchIn(phase);
    const { state, effects } = reduceWatch(before, at(nextMs(before), event));
    const kinds = effects.map((effect) => effect.kind).join(", ");
    const changed = state !== before && state.ignored === null;
    return {
      event: event.kind,
      becomes: state.phase.kind === phase ? "" : state.phase.kind,
      does:
        state.ignored === null
          ? kinds || (changed ? "takes it in" : "")
          : `ignored: ${state.ignored}`,
    };
  });
}

function tableOf(phase: (typeof ALL_PHASES)[number]): string {
  const rows = decisionsIn(phase).map(
    ({ event, becomes, does }) => `| ${event} | ${becomes} | ${does} |`,
  );
  return [`## ${phase}`, "", "| event | becomes | does |", "| --- | --- | --- |", ...rows, ""].join(
    "\n",
  );
}

describe("every phase against every event", () => {
  it("is decided as the table beside this test shows", async () => {
    const text = [HEAD, ...ALL_PHASES.map(tableOf)].join("\n");
    await expect(text).toMatchFileSnapshot("./decisions.md");
  });

  it("leaves no pair without an effect, a change or a reason", () => {
    for (const phase of ALL_PHASES) {
      for (const { event, becomes, does } of decisionsIn(phase)) {
        expect(becomes + does, `${phase} × ${event}`).not.toBe("");
      }
    }
  });
});

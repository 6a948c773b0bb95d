import { runCommand } from "../../controller/commandLine.ts";
import { NightError } from "../../core/errors.ts";
import { runCampaign } from "./campaign.ts";
import { CAMPAIGNS } from "./campaigns.ts";

const names = Object.keys(CAMPAIGNS);

const COMMAND = {
  call: "npm run campaign --",
  purpose:
    "Tries in large counts what the tests try in small ones. A case that fails prints the line that repeats it.",
  operands: { name: "CAMPAIGN", help: `one of ${names.join(", ")}`, countMin: 1, countMax: 1 },
  options: {
    count: { type: "number", value: "N", integer: true, min: 1, help: "how many are tried" },
    seed: {
      ...({ type: "number", value: "N", default: 1, integer: true, min: 0 } as const),
      help: "seed of the first case; each next one takes the seed after it",
    },
  },
} as const;

await runCommand(COMMAND, async ({ count, seed }, [name]) => {
  const load = CAMPAIGNS[name!];
  if (load === undefined) {
    throw new NightError(
      "usage.invalid",
      `there is no campaign "${name}"; there are ${names.join(", ")}`,
    );
  }
  const campaign = await load();
  const total = count ?? campaign.countDefault;
  const start = performance.now();
  const { caseCount, failures, sums } = await runCampaign(name!, campaign, {
    count: total,
    seed,
    onCase: (done, failed) => {
      for (const line of failed) process.stderr.write(`failed: ${line}\n`);
      process.stderr.write(`${done} of ${total} ${campaign.unit}s\n`);
    },
  });
  const minutes = (performance.now() - start) / 60_000;
  for (const [figure, value] of Object.entries(sums)) {
    process.stdout.write(`${figure}: ${value}\n`);
  }
  process.stdout.write(
    `${total} ${campaign.unit}s in ${caseCount} cases and ${minutes.toFixed(1)} minutes: ` +
      `${failures.length === 0 ? "nothing failed" : `${failures.length} problems`}\n`,
  );
  if (failures.length > 0) process.exitCode = 1;
});

import { NightError } from "../../core/errors.ts";

/** What one seed came to. */
export type CaseOutcome = {
  /** What went wrong, a sentence each; empty when nothing did. */
  readonly problems: readonly string[];
  /** Figures that are added up over all cases: `{ "frames taken": 41 }`. */
  readonly sums: Readonly<Record<string, number>>;
};

/** Something that is tried in small counts by the tests and in large ones by hand. */
export type Campaign = {
  /** What one of `--count` is: "kill", "night". */
  readonly unit: string;
  readonly countDefault: number;
  /** How many units one seed tries; the last case of a campaign may be smaller. */
  readonly unitsPerCase: number;
  /**
   * Tries one seed.
   *
   * @param seed  Decides everything that is random in the case.
   * @param unitCount  1 to `unitsPerCase`.
   */
  runCase(seed: number, unitCount: number): Promise<CaseOutcome>;
};

export type CampaignResult = {
  readonly caseCount: number;
  /** A line for each problem, with the command that repeats its case. */
  readonly failures: readonly string[];
  readonly sums: Readonly<Record<string, number>>;
};

/**
 * Runs a campaign's cases one after another: the first with `seed`, each next with the seed after.
 *
 * @param name  As `npm run campaign -- NAME` takes it, for the command that repeats a failing case.
 * @param onCase  Hears of each case when it has ended.
 */
export async function runCampaign(
  name: string,
  campaign: Campaign,
  options: {
    readonly count: number;
    readonly seed: number;
    readonly onCase?: (doneCount: number, failures: readonly string[]) => void;
  },
): Promise<CampaignResult> {
  const failures: string[] = [];
  const sums: Record<string, number> = {};
  let caseCount = 0;
  for (let done = 0; done < options.count; done += campaign.unitsPerCase) {
    const seed = options.seed + caseCount;
    const unitCount = Math.min(campaign.unitsPerCase, options.count - done);
    const outcome = await outcomeOf(campaign, seed, unitCount);
    const repeat = `npm run campaign -- ${name} --count ${unitCount} --seed ${seed}`;
    const failed = outcome.problems.map((problem) => `${problem} Repeat it: ${repeat}`);
    failures.push(...failed);
    for (const [figure, value] of Object.entries(outcome.sums)) {
      sums[figure] = (sums[figure] ?? 0) + value;
    }
    caseCount += 1;
    options.onCase?.(done + unitCount, failed);
  }
  return { caseCount, failures, sums };
}

/** A case that throws has failed; the campaign goes on with the next. */
async function outcomeOf(
  campaign: Campaign,
  seed: number,
  unitCount: number,
): Promise<CaseOutcome> {
  try {
    return await campaign.runCase(seed, unitCount);
  } catch (thrown) {
    const text = thrown instanceof Error ? (thrown.stack ?? thrown.message) : String(thrown);
    const code = thrown instanceof NightError ? ` (${thrown.code})` : "";
    return { problems: [`The case ended with an error${code}: ${text}`], sums: {} };
  }
}

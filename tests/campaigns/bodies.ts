import { benchCheck } from "../../controller/bench-check/benchCheck.ts";
import { verdictOf, type Verdict } from "../../controller/bench-check/verdict.ts";
import { workingControls } from "../../controller/bench-check/workingControls.ts";
import { createTransport } from "../../controller/cameras/createTransport.ts";
import { startOrigin } from "../../controller/timing/clock.ts";
import { utcMs } from "../../core/units.ts";
import { readBodies, traitsOf, type Body } from "../bodies/body.ts";
import { faultsOf } from "../bodies/faults.ts";
import { Responder } from "../bodies/responder.ts";
import { watchBody } from "../bodies/watchBody.ts";
import type { Campaign } from "./campaign.ts";

const WATCH_FRAMES = 6;
const BODIES = readBodies();
/** Has no divisor in common with any count of bodies below it, so that seeds go round all of them. */
const STRIDE = 1_009;
/** A body that files nothing need not be waited for as long as a camera. */
const FILE_MS_MAX = 5_000;
/** No profiles of a person's own. */
const NOWHERE = "/nonexistent";

/** A watch of six frames by the whole program, and a bench check, of one body a seed. */
export const BODIES_CAMPAIGN: Campaign = {
  unit: "camera",
  countDefault: BODIES.length,
  unitsPerCase: 1,
  async runCase(seed) {
    const body = BODIES[((seed - 1) * STRIDE) % BODIES.length]!;
    const [watch, bench] = [await watchIt(body), await benchIt(body)];
    const problems = [...watch.problems, ...bench.problems].map((one) => `${body.name}: ${one}`);
    const row = [
      body.name,
      `${watch.framesReported} frames`,
      `${watch.filesKept} files`,
      bench.kind,
    ];
    process.stdout.write(`${row.join("  ")}  ${problems.length === 0 ? "well" : "NOT WELL"}\n`);
    const sums = { "frames reported": watch.framesReported, "files kept": watch.filesKept };
    return { problems, sums };
  },
};

async function watchIt(body: Body): Promise<{
  readonly problems: readonly string[];
  readonly framesReported: number;
  readonly filesKept: number;
}> {
  const { framesReported, filesKept, faults, lines } = await watchBody(body);
  const { exposed, pictures, says } = body.outcome;
  const problems = faults.map((fault) => `in a watch: ${fault}.`);
  const reported = lines.join("\n");
  if (exposed > 0 && framesReported < WATCH_FRAMES)
    problems.push(`${framesReported} frames were reported.`);
  if (pictures > 0 && filesKept === 0) problems.push("no file was kept.");
  for (const piece of says)
    if (!reported.includes(piece)) problems.push(`nobody was informed "${piece}".`);
  return { problems, framesReported, filesKept };
}

async function benchIt(
  body: Body,
): Promise<{ readonly problems: readonly string[]; readonly kind: Verdict["kind"] }> {
  const responder = await Responder.start(traitsOf(body));
  try {
    const figures = await benchCheck({
      createTransport: () =>
        createTransport({ kind: "ip", host: "127.0.0.1", port: responder.port }),
      controlsFor: (info, usbIds) => workingControls(info, NOWHERE, usbIds),
      origin: startOrigin({ rate: 1, startUtcMs: utcMs(Date.now()) }),
      scheduling: null,
      onStep: () => undefined,
      fileMsMax: FILE_MS_MAX,
    });
    const { kind, sentence } = verdictOf(figures);
    const problems = faultsOf(responder.camera.diary).map((fault) => `in a bench check: ${fault}.`);
    if ((kind === "contactNeeded") !== (body.outcome.exposed === 0)) {
      problems.push(`the bench check says "${sentence}"`);
    }
    return { problems, kind };
  } finally {
    await responder.stop();
  }
}

import type { DeliverJob, DeliverOrder, MorningView } from "../../core/api/deliverMessages.ts";
import { NightError } from "../../core/errors.ts";
import { cutFrameSets, NO_EDITS, type SetEdits } from "../../core/frames/frameSets.ts";
import type { Keeper } from "../../core/frames/keepers.ts";
import type { DeliverPart } from "../../controller/web/deliverRoutes.ts";
import { type FakeNight } from "./fakeNight.ts";
import { NIGHT_ID } from "./madeUpNight.ts";

/** Deliveries that live in memory; `finish` and `progress` move the newest job on. */
export type FakeDeliveries = DeliverPart & {
  progress(share: number): void;
  finish(): void;
  readonly orders: DeliverOrder[];
  readonly picks: Map<number, "keep" | "leave">;
};

export function createFakeDeliveries(
  night: FakeNight,
  files: Readonly<Record<string, string>> = {},
): FakeDeliveries {
  const jobs: DeliverJob[] = [];
  const orders: DeliverOrder[] = [];
  const picks = new Map<number, "keep" | "leave">();
  let edits: SetEdits = NO_EDITS;

  const keepers = (): Keeper[] =>
    [2, 7, 11]
      .filter((frameIndex) => picks.get(frameIndex) !== "leave")
      .map((frameIndex) => ({
        cameraId: "virtual",
        frameIndex,
        openedUtcMs: null,
        score: 0.8,
        isByHand: picks.get(frameIndex) === "keep",
        reasons: [
          ...(picks.get(frameIndex) === "keep" ? ["your pick"] : []),
          ...["strong structure", "highlights whole"],
        ],
      }));
  const morning = (nightId: string): MorningView => {
    if (nightId !== NIGHT_ID) {
      throw new NightError("archive.not_found", `There is no night ${nightId}.`);
    }
    const frames = night
      .view()
      .watches.flatMap(({ cameraId }) =>
        night.frames(nightId, { cameraId, fromIndex: 0, count: 100_000 }),
      );
    const sets = cutFrameSets(frames, [], edits);
    return { nightId, frameCount: frames.length, sets, edits, keepers: keepers(), jobs };
  };
  const change = (fields: Partial<DeliverJob>): void => {
    const last = jobs.pop();
    if (last) jobs.push({ ...last, ...fields });
  };

  return {
    orders,
    picks,
    morning,
    jobs: () => jobs,
    start: (nightId, order) => {
      orders.push(order);
      const jobId = `delivery-${jobs.length + 1}`;
      const none = { progress: null, sentence: null, result: null };
      const job: DeliverJob = { jobId, nightId, order, state: "running", ...none };
      jobs.push(job);
      return job;
    },
    cancel: () => change({ state: "cancelled", sentence: "Stopped by hand." }),
    resume: () => {
      change({ state: "running", sentence: null });
      return jobs.at(-1)!;
    },
    setPick: (_nightId, { frameIndex }, word) => {
      if (word === null) picks.delete(frameIndex);
      else picks.set(frameIndex, word.pick);
    },
    setEdits: (_nightId, fresh) => (edits = fresh),
    find: () => [],
    filePath: (_nightId, path) => files[path] ?? null,
    progress: (share) =>
      change({
        progress: {
          stage: "video",
          label: "film h264 of Set 1",
          doneCount: share * 100,
          totalCount: 100,
          share,
          secondsLeft: 90,
        },
      }),
    finish: () =>
      change({
        state: "finished",
        result: {
          outDir: "deliver",
          files: [
            {
              kind: "report",
              label: "report of the night",
              path: "report.html",
              bytes: 40_000,
              frameCount: 30,
            },
          ],
          remarks: ["Frame 4 was left out: its file is missing."],
        },
      }),
  };
}

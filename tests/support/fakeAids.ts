import * as v from "valibot";

import type { BenchView } from "../../core/api/benchMessages.ts";
import type { FocusView, FramingView } from "../../core/api/focusMessages.ts";
import type { UpkeepJob, UpkeepOrder } from "../../core/api/upkeepMessages.ts";
import { fileRoutes } from "../../controller/web/fileRoutes.ts";
import type { Route } from "../../controller/web/route.ts";
import type { FakeNight } from "./fakeNight.ts";

/** What helps before dark and with a night's files, as a test sets it; its routes answer with it. */
export type FakeAids = {
  focus: FocusView;
  framing: FramingView;
  bench: BenchView;
  readonly upkeepOrders: UpkeepOrder[];
  readonly routes: readonly Route[];
};

const answer = { kind: "json", schema: v.looseObject({}) } as const;
const common = { part: "Before dark", summary: "for the test", answer } as const;

export function createFakeAids(night: FakeNight): FakeAids {
  const routes: Route[] = [];
  const upkeepOrders: UpkeepOrder[] = [];
  const aids: FakeAids = {
    focus: { kind: "off" },
    framing: { kind: "none" },
    bench: { kind: "none" },
    upkeepOrders,
    routes,
  };
  routes.push(...focusRoutes(aids), ...benchRoutes(aids), ...extraFileRoutes(night, upkeepOrders));
  return aids;
}

/** A focus aid that has measured three frames as soon as it is started. */
function focusRoutes(aids: FakeAids): readonly Route[] {
  const started: FocusView = {
    kind: "running",
    cameraId: "virtual",
    exposureSeconds: 2,
    iso: 6400,
    points: [5.2, 3.1, 3.9].map((widthPx, index) => ({
      index,
      widthPx,
      starCount: 40,
      lightStops: 0,
    })),
    verdict: { kind: "passed", widthPx: 3.9, bestPx: 3.1, framesAgo: 1 },
    sentence: "The best lies behind: turn back a little.",
    pictureIndex: null,
  };
  return [
    { ...common, method: "get", path: "/api/focus", handle: () => aids.focus },
    { ...common, method: "get", path: "/api/framing", handle: () => aids.framing },
    {
      ...common,
      method: "post",
      path: "/api/focus/start",
      handle: () => (aids.focus = started),
    },
    {
      ...common,
      method: "post",
      path: "/api/focus/stop",
      handle: () => (aids.focus = { kind: "off" }),
    },
  ];
}

/** A bench check that is in the middle of its steps as soon as it is started. */
function benchRoutes(aids: FakeAids): readonly Route[] {
  const path = "/api/bench-check";
  const steps = ["Connecting.", "Exposing 1, 2 and 5 s, twice."];
  const ended = { kind: "failed", cameraId: "virtual", sentence: "Ended early." } as const;
  return [
    { ...common, method: "get", path, handle: () => aids.bench },
    {
      ...common,
      method: "post",
      path: `${path}/start`,
      handle: () => (aids.bench = { kind: "running", cameraId: "virtual", steps }),
    },
    { ...common, method: "post", path: `${path}/stop`, handle: () => (aids.bench = ended) },
  ];
}

/** A night's files on which work ends at once; what was ordered is written down. */
function extraFileRoutes(night: FakeNight, upkeepOrders: UpkeepOrder[]): readonly Route[] {
  const jobs: UpkeepJob[] = [];
  return fileRoutes({
    find: (nightId, query) =>
      query === "surge" ? [] : night.frames(nightId, { fromIndex: 3, count: 2 }),
    upkeep: {
      jobs: () => jobs,
      outlook: (_nightId, rule) => Promise.resolve({ rule, previewCount: 7, bytes: 2.1e6 }),
      start: (nightId, order) => {
        upkeepOrders.push(order);
        const sentences = ["7 previews were deleted, 2.1 MB; their rows stay."];
        const job: UpkeepJob = {
          jobId: "upkeep-1",
          nightId,
          order,
          state: "finished",
          progress: null,
          sentences,
        };
        jobs.push(job);
        return Promise.resolve(job);
      },
      cancel: () => jobs[0]!,
    },
  });
}

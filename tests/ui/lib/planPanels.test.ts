import { cleanup, render, screen, within } from "@testing-library/svelte";
import { afterEach, expect, test, vi } from "vitest";

import { checklistOf, UNKNOWN_CAMERA } from "../../../core/plan/checklist.ts";
import AuroraByHour from "../../../ui/lib/plan/AuroraByHour.svelte";
import AuroraByKp from "../../../ui/lib/plan/AuroraByKp.svelte";
import ChecklistPanel from "../../../ui/lib/plan/ChecklistPanel.svelte";
import {
  draftOfPlace,
  draftOfReported,
  queryOf,
  USUAL_KIT_DRAFT,
  USUAL_WEATHER,
} from "../../../ui/lib/plan/planDraft.ts";
import { kitWith, planWith } from "../../support/planFixtures.ts";

afterEach(cleanup);

const textsOf = (elements: readonly HTMLElement[]): string[] =>
  elements.map((element) => (element.textContent ?? "").replaceAll(/\s+/g, " ").trim());

const DRAFT = {
  ...USUAL_WEATHER,
  ...draftOfPlace({ latitudeDeg: 64.123456, longitudeDeg: -20.5, elevationM: 119.7 }, "Jetty"),
  date: "2026-11-25",
};

test("tells Kp 3 to 9 in one row where all of them bring the oval overhead", () => {
  const plan = planWith({ latitudeDeg: 64, longitudeDeg: 20 });
  render(AuroraByKp, { views: plan.aurora });
  const heads = textsOf(screen.getAllByRole("rowheader"));
  expect(heads).toEqual(["0", "1", "2", "3 to 9"]);
  expect(textsOf(within(screen.getAllByRole("row").at(-1)!).getAllByRole("cell"))[0]).toBe(
    "overhead",
  );
});

test("leaves out the hours for which no Kp is published", () => {
  const time = "2026-11-25T20:00:00Z";
  render(AuroraByHour, {
    hours: [
      {
        time,
        magneticLocalTimeHours: 22,
        kpForTops: 0,
        kpForBorder: 1,
        kpForOverhead: 3.7,
        isDoubtful: false,
      },
      {
        time: "2026-11-26T06:00:00Z",
        magneticLocalTimeHours: 8,
        kpForTops: null,
        kpForBorder: null,
        kpForOverhead: null,
        isDoubtful: false,
      },
    ],
  });
  expect(textsOf(screen.getAllByRole("cell"))).toEqual(["0.0", "3.7"]);
});

test("says of each thing that the camera cannot tell that it cannot, and lets it be ticked", () => {
  const needs = { bytes: 1e9, batteries: 1 };
  const checklist = checklistOf({ facts: UNKNOWN_CAMERA, ticks: [], needs });
  render(ChecklistPanel, { checklist, ontick: vi.fn() });
  const camera = screen.getByRole("region", { name: "The camera tells" });
  const items = within(camera).getAllByRole("listitem");
  expect(items).toHaveLength(9);
  for (const text of textsOf(items)) expect(text).toContain("cannot tell");
  expect(within(camera).getAllByRole("checkbox")).toHaveLength(9);
});

test("asks for a place to some ten metres, with its height", () => {
  expect(queryOf(DRAFT, USUAL_KIT_DRAFT)).toMatchObject({
    kind: "query",
    query: {
      latitudeDeg: 64.1235,
      longitudeDeg: -20.5,
      elevationM: 120,
      placeName: "Jetty",
      temperatureC: -10,
    },
  });
});

test.each([
  [{ ...DRAFT, latitude: "north" }, "Latitude must be a number."],
  [{ ...DRAFT, longitude: "" }, "Longitude must be a number."],
])("says in one sentence which field is no number", (draft, sentence) => {
  expect(queryOf(draft, USUAL_KIT_DRAFT)).toEqual({ kind: "unclear", sentence });
});

test("turns an image's width that the camera tells into the pixel pitch of its sensor", () => {
  const input = { ...kitWith(), pixelPitchUm: undefined, imageWidthPx: 9000, focalLengthMm: 20 };
  expect(draftOfReported({ input, reported: ["imageWidthPx", "focalLengthMm"] })).toEqual({
    pixelPitch: "4",
    focalLength: "20",
  });
});

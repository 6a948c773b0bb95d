import { describe, expect, it } from "vitest";

import {
  CAMERA_ITEM_IDS,
  checklistOf,
  HAND_ITEM_IDS,
  UNKNOWN_CAMERA,
  type CameraFacts,
} from "../../../core/plan/checklist.ts";

const NEEDS = { bytes: 60e9, batteries: 3 };

const GOOD: CameraFacts = {
  program: "manual",
  hasBulb: true,
  focus: "manual",
  noiseReduction: "off",
  imageFormat: "raw",
  clockOffsetMs: 400,
  batteryPercent: 100,
  freeBytes: 128e9,
  standby: "off",
  running: null,
};

function answersOf(facts: CameraFacts, ticks: readonly string[] = []) {
  const { items } = checklistOf({ facts, ticks, needs: NEEDS });
  return Object.fromEntries(items.map(({ id, answer }) => [id, answer]));
}

describe("the checklist", () => {
  it("meets every item of a camera that tells all is right, and leaves ten to be ticked", () => {
    const list = checklistOf({ facts: GOOD, ticks: [], needs: NEEDS });
    expect(list).toMatchObject({ metCount: 9, notMetCount: 0, openCount: 10 });
    expect(list.sentence).toBe("Nothing is wrong; 10 items are still to be ticked.");
  });

  it("is ready for the dark when everything is met and ticked", () => {
    const list = checklistOf({ facts: GOOD, ticks: HAND_ITEM_IDS, needs: NEEDS });
    expect(list.metCount).toBe(19);
    expect(list.sentence).toMatch(/ready for the dark/);
  });

  it("cannot tell anything of a camera that tells nothing, and lets it be ticked by hand", () => {
    const answers = answersOf(UNKNOWN_CAMERA);
    for (const id of CAMERA_ITEM_IDS) expect(answers[id]).toBe("cannotTell");
    expect(answersOf(UNKNOWN_CAMERA, ["bulb"])["bulb"]).toBe("met");
  });

  it.each([
    ["manualExposure", { program: "other" as const }],
    ["bulb", { hasBulb: false }],
    ["manualFocus", { focus: "automatic" as const }],
    ["noiseReductionOff", { noiseReduction: "on" as const }],
    ["rawFormat", { imageFormat: "jpeg" as const }],
    ["clockRight", { clockOffsetMs: -7300 }],
    ["battery", { batteryPercent: 60 }],
    ["freeSpace", { freeBytes: 30e9 }],
    ["standbyOff", { standby: "on" as const }],
  ])("does not meet %s when the camera says otherwise, whatever is ticked", (id, change) => {
    expect(answersOf({ ...GOOD, ...change }, [id])[id]).toBe("notMet");
    const { sentence } = checklistOf({ facts: { ...GOOD, ...change }, ticks: [], needs: NEEDS });
    expect(sentence).toMatch(/^Mend first/);
  });

  it("judges battery and card by how long they last while a watch runs, not by the plan", () => {
    const HOUR_MS = 3_600_000;
    const running = { leftMs: 7 * HOUR_MS, batteryMs: 6 * HOUR_MS, cardMs: 34 * HOUR_MS };
    const facts = { ...GOOD, batteryPercent: 82, freeBytes: 51e9, running };
    const { items } = checklistOf({ facts, ticks: [], needs: NEEDS });
    expect(items.find(({ id }) => id === "battery")).toMatchObject({
      answer: "notMet",
      found: "82 % left, about 6 h at this pace; 7 h to go",
    });
    expect(items.find(({ id }) => id === "freeSpace")).toMatchObject({
      answer: "met",
      found: "51 GB free, about 34 h at this pace; 7 h to go",
    });
    const unknown = { ...facts, running: { ...running, batteryMs: null, cardMs: null } };
    expect(answersOf(unknown)).toMatchObject({ battery: "met", freeSpace: "notMet" });
  });

  it("takes raw and JPEG for raw", () => {
    expect(answersOf({ ...GOOD, imageFormat: "rawAndJpeg" })["rawFormat"]).toBe("met");
  });

  it("says what it found: clock, battery, room", () => {
    const { items } = checklistOf({
      facts: { ...GOOD, clockOffsetMs: -7300, batteryPercent: 38, freeBytes: 8.5e9 },
      ticks: [],
      needs: NEEDS,
    });
    const found = Object.fromEntries(items.map((item) => [item.id, item.found]));
    expect(found["clockRight"]).toBe("7 s behind");
    expect(found["battery"]).toBe("38 % left; this night takes 3 in this cold");
    expect(found["freeSpace"]).toBe("8.5 GB free, 60 GB needed");
  });

  it("tells why and how to mend for every item", () => {
    for (const item of checklistOf({ facts: GOOD, ticks: [], needs: NEEDS }).items) {
      expect(item.why.length).toBeGreaterThan(15);
      expect(item.howToMend.length).toBeGreaterThan(15);
    }
  });

  it("ignores ticks that are no items", () => {
    expect(checklistOf({ facts: GOOD, ticks: ["nonsense"], needs: NEEDS }).metCount).toBe(9);
  });
});

import { expect, test } from "vitest";

import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { createNightFolder } from "../../../controller/archive/nightFolder.ts";
import { PLAN_KEY } from "../../../controller/archive/stateKeys.ts";
import { readNight } from "../../../controller/deliver/nightToDeliver.ts";
import { planSection } from "../../../controller/deliver/reportPlan.ts";
import { utcMs } from "../../../core/units.ts";
import { kitWith } from "../../support/planFixtures.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const INFO = {
  name: "A made-up night",
  startUtcMs: utcMs(Date.UTC(2026, 10, 10, 16)),
  latitudeDeg: 68.9,
  longitudeDeg: 27,
  placeName: "Hut Seven",
  isRehearsal: false,
};

function sectionOf(kept: unknown): string {
  const catalogue = Catalogue.create(createNightFolder(temporaryFolder(), INFO), INFO);
  if (kept !== null) catalogue.setState(PLAN_KEY, kept);
  const html = planSection(readNight(catalogue));
  catalogue.close();
  return html;
}

test("plans with the kit that the night ran with: a longer lens, a shorter exposure", () => {
  const long = sectionOf({ kit: kitWith({ name: "Portrait lens", focalLengthMm: 85 }) });
  expect(long).toContain("with Portrait lens, 85 mm at f/2.8");
  const longestOf = (html: string): number =>
    Number(/Longest exposure<\/td><td>([\d.]+) s/.exec(html)?.[1]);
  expect(longestOf(long)).toBeLessThan(longestOf(sectionOf({ kit: kitWith() })) / 3);
});

test("plans a night of before plans were kept with the usual kit, and names no frame", () => {
  const html = sectionOf(null);
  expect(html).toContain("16 mm at f/2.8");
  expect(html).toContain("no frame");
  expect(html).toMatch(/Watch from \(UT\)<\/td><td>\d\d:\d\d:\d\d/);
});

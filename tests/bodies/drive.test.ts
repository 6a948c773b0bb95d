import { describe, expect, it } from "vitest";
import { readBodies } from "./body.ts";
import { driveBody } from "./driveBody.ts";

/** One of each kind that once cost a night; `BODIES=all` runs every body, as a campaign does. */
const IN_SHORT = [
  "plain",
  "bulb-denied",
  "bulb-speed-trap",
  "bulb-failing",
  "id-0b-standard",
  "wide-settings",
  "clock-of-2000",
  "raw-blind",
  "handles-restarted",
  "files-never",
  "no-capture",
  "id-06-records",
  "id-0a-queue",
  "ignores",
  "speeds-in-us",
  "heif-only",
  "bulb-ends-itself",
];
const bodies = readBodies().filter(
  ({ name }) => process.env["BODIES"] === "all" || IN_SHORT.includes(name),
);

const met = bodies.filter(({ knownShortfalls }) => knownShortfalls.length === 0);

describe("six frames, some by the camera's own timer and some by bulb", () => {
  for (const { name, knownShortfalls } of bodies) {
    for (const shortfall of knownShortfalls) it.todo(`${name}: ${shortfall}`);
  }

  const lasts = { timeout: 240_000 };
  it.concurrent.each(met)("$name: $about", lasts, async (body) => {
    const seen = await driveBody(body);
    const { exposed, pictures, says } = body.outcome;
    expect({ opened: seen.opened, faults: seen.faults }, seen.sentences.join("\n")).toEqual({
      opened: exposed,
      faults: [],
    });
    expect(seen.arrived, seen.sentences.join("\n")).toBeGreaterThanOrEqual(pictures);
    for (const piece of says) expect(seen.sentences.join("\n")).toContain(piece);
  });
});

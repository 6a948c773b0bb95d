import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { parseBody, readBodies } from "./body.ts";
import { SWITCHES, SWITCH_NAMES } from "./switches.ts";
import { TABLE_FILE, tableOf } from "./table.ts";

const bodies = readBodies();

describe("bodies as data", () => {
  it("are at least forty, each under its own name", () => {
    expect(bodies.length).toBeGreaterThanOrEqual(40);
    expect(new Set(bodies.map(({ name }) => name)).size).toBe(bodies.length);
  });

  it("no two share more than half of their switches", () => {
    const alike = bodies.flatMap((one, index) =>
      bodies
        .slice(index + 1)
        .map((other) => ({
          pair: `${one.name} and ${other.name}`,
          shared: SWITCH_NAMES.filter((name) => one.switches[name] === other.switches[name]).length,
        }))
        .filter(({ shared }) => shared > SWITCH_NAMES.length / 2),
    );
    expect(alike).toEqual([]);
  });

  it("use every setting of every switch", () => {
    const unused = SWITCH_NAMES.flatMap((name) =>
      Object.keys(SWITCHES[name])
        .filter((setting) => !bodies.some(({ switches }) => switches[name] === setting))
        .map((setting) => `${name}: ${setting}`),
    );
    expect(unused).toEqual([]);
  });

  it("stand in the table beside them; `node --import tsx tests/bodies/table.ts` writes it again", () => {
    expect(readFileSync(TABLE_FILE, "utf8")).toBe(tableOf(bodies));
  });

  it("are refused with a switch missing, a setting unknown or a word too many", () => {
    const good = bodies[0]!;
    const { pace: _, ...without } = good.switches;
    expect(() => parseBody({ ...good, switches: without })).toThrow("pace");
    expect(() => parseBody({ ...good, switches: { ...good.switches, pace: "brisk" } })).toThrow(
      "brisk",
    );
    expect(() => parseBody({ ...good, code: "if (model)" })).toThrow("code");
  });
});

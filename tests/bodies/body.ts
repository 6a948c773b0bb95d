import { readdirSync, readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import * as v from "valibot";
import { SWITCHES, SWITCH_NAMES, type SwitchName, type Traits } from "./switches.ts";

const FOLDER = fileURLToPath(new URL("cameras/", import.meta.url));

const switchesSchema = v.strictObject(
  Object.fromEntries(
    SWITCH_NAMES.map((name) => [name, v.picklist(Object.keys(SWITCHES[name]))]),
  ) as Record<SwitchName, v.PicklistSchema<string[], undefined>>,
);

const bodySchema = v.strictObject({
  name: v.pipe(v.string(), v.regex(/^[a-z0-9]+(-[a-z0-9]+)*$/)),
  about: v.pipe(v.string(), v.minLength(12)),
  evidence: v.picklist(["made up", "from memory, not tried on hardware"]),
  switches: switchesSchema,
  /** What six frames must come to. */
  outcome: v.strictObject({
    exposed: v.pipe(v.number(), v.integer(), v.minValue(0), v.maxValue(6)),
    pictures: v.pipe(v.number(), v.integer(), v.minValue(0), v.maxValue(6)),
    /** Pieces of what the person reads. */
    says: v.array(v.pipe(v.string(), v.minLength(8))),
  }),
  /** What the program does wrong with this body today; an empty list: nothing known. */
  knownShortfalls: v.array(v.pipe(v.string(), v.minLength(8))),
});

export type Body = v.InferOutput<typeof bodySchema>;

/** @throws ValiError where the data do not say one setting of every switch. */
export function parseBody(value: unknown): Body {
  return v.parse(bodySchema, value);
}

/** All bodies, by name. */
export function readBodies(): readonly Body[] {
  return readdirSync(FOLDER)
    .filter((file) => file.endsWith(".json"))
    .sort()
    .map((file) => parseBody(JSON.parse(readFileSync(FOLDER + file, "utf8"))));
}

/** What the settings come to. */
export function traitsOf(body: Pick<Body, "switches">): Traits {
  return Object.fromEntries(
    SWITCH_NAMES.map((name) => [
      name,
      (SWITCHES[name] as Record<string, unknown>)[body.switches[name]],
    ]),
  ) as Traits;
}

import * as v from "valibot";
import { NightError } from "../errors.ts";
import type { Checklist } from "../plan/checklist.ts";
import { kitInputSchema, type Kit, type KitInput } from "../plan/kit.ts";
import { maybe, needs, number } from "../schemaParts.ts";
import type { AuroraView } from "../sky/auroraView.ts";
import type { NightPlan } from "../plan/plan.ts";
import type { TonightResult } from "../rehearsal/tonightResult.ts";

/** The answer: the plan, and the Kp of a feed when the user has named one. */
export type PlanAnswer = {
  readonly plan: NightPlan;
  readonly kpFeed: KpFeedView;
  /** What the feed's Kp means for this place; `null` without one. */
  readonly auroraNow: AuroraNow | null;
};

/** Aurora at one Kp as seen from a place, with a sentence. */
export type AuroraNow = AuroraView & { readonly sentence: string };

/** How the Kp feed stands; it is never waited for. */
export type KpFeedView = {
  readonly kind: "none" | "waiting" | "fresh" | "stale" | "unreachable";
  /** Newest value there is, also an old one; `null`: none yet. */
  readonly kp: number | null;
  /** Begin of the interval it speaks for, ISO 8601 UTC. */
  readonly at: string | null;
  readonly ageMinutes: number | null;
  readonly sentence: string;
};

/** The same with the feed's address; `null`: none is named. */
export type NamedKpFeed = KpFeedView & { readonly url: string | null };

/** A remembered kit: as described, and with every number known. */
export type RememberedKit = { readonly input: KitInput; readonly kit: Kit };

/** How a rehearsal of tonight stands. */
export type TonightView =
  | { readonly kind: "none" }
  | {
      readonly kind: "running";
      readonly id: string;
      readonly doneCount: number;
      readonly skyCount: number;
    }
  | { readonly kind: "done"; readonly id: string; readonly result: TonightResult }
  | { readonly kind: "failed"; readonly id: string; readonly sentence: string };

export type { Checklist };

const placeEntries = {
  latitudeDeg: number("Latitude"),
  longitudeDeg: number("Longitude"),
};

/** What the page asks a plan with; a left-out kit is the usual one. */
const planEntries = {
  ...placeEntries,
  date: v.string("The date must be written as YYYY-MM-DD."),
  /** In whose calendar the date is the evening's, as in Europe/Helsinki; left out: by longitude. */
  zone: maybe(v.string()),
  placeName: maybe(v.string()),
  elevationM: maybe(number("Height above the sea")),
  /** A remembered kit, or one described here. */
  kitName: maybe(v.string()),
  kit: maybe(kitInputSchema),
  temperatureC: maybe(number("The temperature")),
  windKmh: maybe(number("The wind")),
  humidityPercent: maybe(number("The humidity")),
  framesPerSecond: maybe(number("The frame rate")),
  darkZenithMag: maybe(number("The dark sky's brightness")),
};

/** A plan's query from outside; its numbers are judged by `planNight`. */
export const planQuerySchema = v.object(planEntries, needs("A plan's query"));

export type PlanQuery = Readonly<v.InferOutput<typeof planQuerySchema>>;

/** A rehearsal's query from outside. */
export const tonightQuerySchema = v.object(
  {
    ...planEntries,
    activity: v.picklist(
      ["quiet", "moderate", "storm"],
      "The activity must be one of quiet, moderate, storm.",
    ),
    cloudiness: v.optional(
      v.picklist(["clear", "some", "changing"], "The clouds must be one of clear, some, changing."),
      "changing",
    ),
    seed: maybe(number("The seed")),
  },
  needs("A rehearsal"),
);

export type TonightQuery = Readonly<v.InferInput<typeof tonightQuerySchema>>;

/** A place to remember, from outside; its numbers are judged by `placeOf`. */
export const rememberedPlaceSchema = v.object(
  {
    name: v.string("Give the place a name."),
    ...placeEntries,
    elevationM: v.optional(number("Height above the sea"), 0),
    /** Moonless zenith after dark, V mag/arcsec²; null: taken as natural. */
    darkZenithMag: v.optional(v.nullable(number("The dark sky's brightness")), null),
  },
  needs("A place"),
);

export type RememberedPlace = Readonly<v.InferOutput<typeof rememberedPlaceSchema>>;

/** Where a GNSS receiver stands; a height of null: the receiver has not reported it. */
export const sensedPlaceSchema = v.object({ ...placeEntries, elevationM: v.nullable(v.number()) });

export type SensedPlace = Readonly<v.InferOutput<typeof sensedPlaceSchema>>;

/** What a checklist is asked with, from outside. */
export const checklistQuerySchema = v.object({
  facts: v.object({
    program: v.picklist(["manual", "other", "unknown"]),
    hasBulb: v.nullable(v.boolean()),
    focus: v.picklist(["manual", "automatic", "unknown"]),
    noiseReduction: v.picklist(["off", "on", "unknown"]),
    imageFormat: v.picklist(["raw", "rawAndJpeg", "jpeg", "unknown"]),
    clockOffsetMs: v.nullable(v.number()),
    batteryPercent: v.nullable(v.number()),
    freeBytes: v.nullable(v.number()),
    standby: v.picklist(["off", "on", "unknown"]),
    running: v.nullable(
      v.object({
        leftMs: v.number(),
        batteryMs: v.nullable(v.number()),
        cardMs: v.nullable(v.number()),
      }),
    ),
  }),
  ticks: v.array(v.string()),
  needs: v.object({ bytes: v.number(), batteries: v.number() }),
});

/**
 * A value from outside by one of the schemas above.
 *
 * @throws NightError `settings.invalid` with the first thing that is wrong, in one sentence.
 */
export function parseMessage<T>(schema: v.GenericSchema<unknown, T>, value: unknown): T {
  const result = v.safeParse(schema, value);
  if (result.success) return result.output;
  const issue = result.issues[0];
  const path = issue.path?.map(({ key }) => String(key)).join(".") ?? "";
  const sentence = /^[A-Z].*\.$/.test(issue.message)
    ? issue.message
    : `${path === "" ? "The message" : path}: ${issue.message}`;
  throw new NightError("settings.invalid", sentence, { path });
}

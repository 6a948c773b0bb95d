import * as v from "valibot";
import { NightError } from "../errors.ts";
import type { Checklist } from "../plan/checklist.ts";
import type { Kit, KitInput } from "../plan/kit.ts";
import type { AuroraView } from "../sky/auroraView.ts";
import type { NightPlan } from "../plan/plan.ts";
import type { TonightActivity } from "../rehearsal/tonightAurora.ts";
import type { TonightCloudiness } from "../rehearsal/tonightClouds.ts";
import type { TonightResult } from "../rehearsal/tonightResult.ts";

/** What the page asks a plan with. */
export type PlanQuery = {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly date: string;
  readonly placeName?: string | null | undefined;
  readonly elevationM?: number | undefined;
  /** A remembered kit, or one described here; left out: the usual kit. */
  readonly kitName?: string | undefined;
  readonly kit?: KitInput | undefined;
  readonly temperatureC?: number | undefined;
  readonly windKmh?: number | null | undefined;
  readonly humidityPercent?: number | null | undefined;
  readonly framesPerSecond?: number | undefined;
  readonly darkZenithMag?: number | undefined;
};

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

/** A remembered place. */
export type RememberedPlace = {
  readonly name: string;
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly elevationM: number;
  /** Moonless zenith after dark, V mag/arcsec²; `null`: taken as natural. */
  readonly darkZenithMag: number | null;
};

/** Where a GNSS receiver stands. */
export type SensedPlace = {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  /** `null`: the receiver has not reported it. */
  readonly elevationM: number | null;
};

/** A started rehearsal of tonight. */
export type TonightQuery = PlanQuery & {
  readonly activity: TonightActivity;
  /** Left out: changing. */
  readonly cloudiness?: TonightCloudiness | undefined;
  readonly seed?: number | undefined;
};

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

const number = (name: string) => v.pipe(v.number(`${name} must be a number.`), v.finite());

/** The sentence for something that is no object, or lacks a field. */
function needs(what: string): (issue: v.BaseIssue<unknown>) => string {
  return ({ path }) => {
    const key = path?.at(-1)?.key;
    return key === undefined ? `${what} must be an object.` : `${what} needs ${String(key)}.`;
  };
}

const kitEntries = {
  name: v.string("Give the kit a name."),
  sensorClass: v.picklist(
    ["fullFrame", "crop", "fourThirds", "oneInch"],
    "The sensor class must be one of fullFrame, crop, fourThirds, oneInch.",
  ),
  pixelPitchUm: v.optional(v.nullable(number("The pixel pitch"))),
  imageWidthPx: v.optional(v.nullable(number("The image width"))),
  focalLengthMm: number("The focal length"),
  fNumberWidest: number("The widest aperture"),
  isoComfortMax: v.optional(number("The ISO cap")),
  batteryWh: v.optional(number("The battery")),
  cameraWatts: v.optional(number("The camera's draw")),
  cardBytes: v.optional(number("The card")),
  bytesPerFrame: v.optional(v.nullable(number("A frame's size"))),
  busySeconds: v.optional(number("The camera's busy time")),
};

/** A kit from outside; its numbers are judged by `resolveKit`. */
export const kitInputSchema = v.object(kitEntries, needs("A kit"));

const planEntries = {
  latitudeDeg: number("Latitude"),
  longitudeDeg: number("Longitude"),
  date: v.string("The date must be written as YYYY-MM-DD."),
  placeName: v.optional(v.nullable(v.string())),
  elevationM: v.optional(number("Height above the sea")),
  kitName: v.optional(v.string()),
  kit: v.optional(kitInputSchema),
  temperatureC: v.optional(number("The temperature")),
  windKmh: v.optional(v.nullable(number("The wind"))),
  humidityPercent: v.optional(v.nullable(number("The humidity"))),
  framesPerSecond: v.optional(number("The frame rate")),
  darkZenithMag: v.optional(number("The dark sky's brightness")),
};

/** A plan's query from outside; its numbers are judged by `planNight`. */
export const planQuerySchema = v.object(planEntries, needs("A plan's query"));

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
    seed: v.optional(number("The seed")),
  },
  needs("A rehearsal"),
);

/** A place to remember, from outside; its numbers are judged by `placeOf`. */
export const rememberedPlaceSchema = v.object(
  {
    name: v.string("Give the place a name."),
    latitudeDeg: number("Latitude"),
    longitudeDeg: number("Longitude"),
    elevationM: v.optional(number("Height above the sea"), 0),
    darkZenithMag: v.optional(v.nullable(number("The dark sky's brightness")), null),
  },
  needs("A place"),
);

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

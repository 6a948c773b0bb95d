import * as v from "valibot";
import { rememberedPlaceSchema } from "./planMessages.ts";
import { settingsChangeSchema } from "./settingsChange.ts";

/** A camera that was found, or that answered when it was tried. */
export type CameraOffer = {
  /** As `--camera` takes it. */
  readonly address: string;
  /** What it reports of itself, and where it is. */
  readonly label: string;
  /** Why it cannot be used now, and the one thing to do; null: it can. */
  readonly whyNot: string | null;
};

/** How a night can be begun from the page. */
export type BeginView = {
  /** The choice that the last night was begun with; null: none yet. */
  readonly last: BeginOrder | null;
  /** What kept the program from beginning with the last choice; null: nothing did. */
  readonly refusal: string | null;
};

/** The cameras on this computer's USB, and a sentence where USB itself cannot be used. */
export type FoundCameras = {
  readonly cameras: readonly CameraOffer[];
  readonly usbRefusal: string | null;
};

const CAMERA = "camera must be usb:SERIAL, usb:PLACE, ip:ADDRESS or ip:ADDRESS:PORT.";

export const cameraAddressSchema = v.strictObject({
  camera: v.pipe(v.string(CAMERA), v.maxLength(200, CAMERA), v.regex(/^[^,\s]+$/, CAMERA)),
});

/** What a night is begun with from the page. */
export const beginOrderSchema = v.strictObject(
  {
    ...cameraAddressSchema.entries,
    latitudeDeg: rememberedPlaceSchema.entries.latitudeDeg,
    longitudeDeg: rememberedPlaceSchema.entries.longitudeDeg,
    elevationM: v.optional(v.number("Height above the sea must be a number.")),
    /** "dusk": the first frame waits for the plan's start. */
    when: v.picklist(["dusk", "now"], "when must be dusk or now."),
    /** What the kit allows. */
    settings: v.optional(
      v.pick(settingsChangeSchema, [
        "exposureSecondsMax",
        "isoMax",
        "fNumber",
        "focalLengthMm",
        "sensorWidthMm",
        "pixelPitchUm",
      ]),
      {},
    ),
  },
  (issue) =>
    issue.expected === "never"
      ? `A night is not begun with ${issue.received}.`
      : `To begin a night, ${String(issue.path?.at(-1)?.key ?? "an object")} is needed.`,
);

export type BeginOrder = v.InferOutput<typeof beginOrderSchema>;

export const cameraOfferSchema = v.object({
  address: v.string(),
  label: v.string(),
  whyNot: v.nullable(v.string()),
});
export const foundCamerasSchema = v.object({
  cameras: v.array(cameraOfferSchema),
  usbRefusal: v.nullable(v.string()),
});
export const beginViewSchema = v.object({
  last: v.nullable(v.looseObject({ camera: v.string() })),
  refusal: v.nullable(v.string()),
});

import * as v from "valibot";
import { QUIRK_IDS } from "./cameraControls.ts";
import { code16, code32, evidence, label, milliseconds, profileId, schemaLink } from "./fields.ts";

const raw = v.pipe(v.number(), v.integer(), v.minValue(-0x80000000), v.maxValue(0xffffffff));
const positive = v.pipe(v.number(), v.gtValue(0));
const wireType = v.picklist(["uint8", "uint16", "uint32", "int8", "int16", "int32"]);

const coding = v.variant("kind", [
  v.strictObject({ kind: v.literal("scale"), perUnit: positive }),
  v.strictObject({
    kind: v.literal("table"),
    entries: v.pipe(
      v.array(v.strictObject({ code: raw, value: positive })),
      v.minLength(1),
      v.description("Values rising strictly"),
    ),
  }),
  v.strictObject({ kind: v.literal("rational") }),
  v.strictObject({
    kind: v.literal("exponential"),
    unit: positive,
    zeroRaw: raw,
    perStop: v.pipe(v.number(), v.notValue(0)),
  }),
]);

const setThrough = v.strictObject({
  operation: code16,
  layout: v.picklist(["value", "record"]),
});

const numberProperty = v.strictObject({
  property: code16,
  /** Left out: as the standard codes the property. */
  coding: v.optional(coding),
  setThrough: v.optional(setThrough),
  assumed: v.optional(
    v.strictObject({ dataType: wireType, values: v.pipe(v.array(raw), v.minLength(1)) }),
  ),
  evidence,
});

const stateProperty = v.strictObject({
  property: code16,
  manual: v.optional(
    v.pipe(
      v.array(raw),
      v.minLength(1),
      v.description("Codes that leave it to the photographer; left out: the standard's own"),
    ),
  ),
  evidence,
});

const plainProperty = v.strictObject({ property: code16, evidence });

function wordProperty<const W extends string>(words: readonly W[]) {
  return v.strictObject({
    property: code16,
    codes: v.pipe(v.array(v.strictObject({ code: raw, word: v.picklist(words) })), v.minLength(1)),
    evidence,
  });
}

const step = v.variant("kind", [
  v.strictObject({
    kind: v.literal("operation"),
    operation: code16,
    parameters: v.pipe(v.array(v.union([code32, v.literal("openingTransaction")])), v.maxLength(5)),
  }),
  v.strictObject({
    kind: v.literal("property"),
    property: code16,
    dataType: wireType,
    value: raw,
    setThrough: v.optional(setThrough),
  }),
  v.strictObject({ kind: v.literal("pause"), pauseMs: milliseconds }),
]);
const steps = v.pipe(v.array(step), v.minLength(1), v.maxLength(16));
const stepClaim = v.strictObject({ steps, evidence });

const match = v.pipe(
  v.strictObject({
    usbVendorId: v.optional(code16),
    usbProductId: v.optional(code16),
    ptpVendorExtensionId: v.optional(code32),
    operations: v.optional(
      v.pipe(
        v.array(code16),
        v.minLength(2),
        v.description("Operations that the device announces, all of them"),
      ),
    ),
    manufacturer: v.optional(v.pipe(v.string(), v.description("As the device itself reports it"))),
    model: v.optional(v.pipe(v.string(), v.description("As the device itself reports it"))),
    serialNumber: v.optional(v.pipe(v.string(), v.description("As the device itself reports it"))),
    firmware: v.optional(
      v.pipe(
        v.string(),
        v.regex(
          /^(>=|<=|>|<|=)\d+(\.\d+)*( (>=|<=|>|<|=)\d+(\.\d+)*)*$/,
          'a range of versions is written like ">=1.2 <3"',
        ),
      ),
    ),
  }),
  v.description("All that is named must agree; several of these: any of them"),
);

/** null takes away what the profile that is extended has. */
function nullable<S extends v.GenericSchema>(schema: S) {
  return v.optional(v.nullable(schema));
}

/** A camera's profile as it stands in its file. */
export const cameraProfileSchema = v.strictObject({
  $schema: schemaLink,
  id: profileId,
  label,
  extends: v.optional(profileId),
  match: v.optional(v.array(match)),
  settings: v.optional(
    v.strictObject({
      exposureTime: nullable(numberProperty),
      iso: nullable(numberProperty),
      fNumber: nullable(numberProperty),
      focalLengthMm: nullable(numberProperty),
      battery: nullable(plainProperty),
      dateTime: nullable(plainProperty),
      program: nullable(stateProperty),
      focus: nullable(stateProperty),
      noiseReduction: nullable(wordProperty(["off", "on"])),
      imageFormat: nullable(wordProperty(["raw", "rawAndJpeg", "jpeg"])),
    }),
  ),
  connect: nullable(stepClaim),
  shutter: v.optional(
    v.strictObject({
      bulb: nullable(
        v.variant("kind", [
          v.strictObject({
            kind: v.literal("operations"),
            open: code16,
            close: code16,
            closeNamesOpening: v.boolean(),
            evidence,
          }),
          v.strictObject({ kind: v.literal("steps"), open: steps, close: steps, evidence }),
        ]),
      ),
      timed: nullable(stepClaim),
      timedBelowSeconds: v.optional(v.pipe(v.number(), v.minValue(0), v.maxValue(60))),
      bulbExcessMs: nullable(
        v.strictObject({
          value: v.pipe(v.number(), v.minValue(-10_000), v.maxValue(10_000)),
          evidence,
        }),
      ),
    }),
  ),
  previews: v.optional(
    v.strictObject({
      order: v.pipe(
        v.array(v.picklist(["moderateJpeg", "thumbnail", "anyJpeg", "embeddedJpeg"])),
        v.minLength(1),
      ),
      wholeJpegBytesMax: v.pipe(v.number(), v.integer(), v.minValue(0)),
      evidence,
    }),
  ),
  toneCurve: nullable(
    v.strictObject({
      points: v.pipe(
        v.array(
          v.strictObject({
            lightStops: v.pipe(v.number(), v.minValue(-20), v.maxValue(20)),
            code: v.pipe(v.number(), v.minValue(0), v.maxValue(255)),
          }),
        ),
        v.minLength(8),
        v.description(
          "The code, of 8 bits, that a light is rendered to; light in stops from any one light; both rise strictly",
        ),
      ),
      evidence,
    }),
  ),
  events: v.optional(
    v.strictObject({
      objectAdded: v.optional(v.array(code16)),
      captureDone: v.optional(v.array(code16)),
      poll: nullable(
        v.strictObject({
          operation: code16,
          everyMs: v.pipe(v.number(), v.minValue(20), v.maxValue(60_000)),
          layout: v.picklist(["countedPairs", "sizedRecords"]),
        }),
      ),
      evidence,
    }),
  ),
  timing: v.optional(
    v.strictObject({
      busyPollMs: v.optional(milliseconds),
      busyMsMax: v.optional(milliseconds),
      fileGraceMs: v.optional(milliseconds),
      settleMs: v.optional(milliseconds),
      evidence,
    }),
  ),
  quirks: v.optional(
    v.array(
      v.strictObject({
        id: v.picklist(QUIRK_IDS),
        why: v.pipe(v.string(), v.minLength(1)),
        evidence,
      }),
    ),
  ),
  measured: v.optional(
    v.pipe(
      v.record(v.string(), v.union([v.string(), v.number(), v.boolean(), v.null()])),
      v.description("What a bench check found, for people to read; nothing is steered by it"),
    ),
  ),
});

export type CameraProfile = v.InferOutput<typeof cameraProfileSchema>;
export type CameraMatch = v.InferOutput<typeof match>;
export type ProfileStep = v.InferOutput<typeof step>;

/** Parts that the published schema names once. */
export const cameraProfileParts = {
  coding,
  setThrough,
  numberProperty,
  stateProperty,
  plainProperty,
  step,
  match,
};

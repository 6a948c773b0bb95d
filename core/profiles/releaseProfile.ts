import * as v from "valibot";
import { byte, code16, evidence, label, milliseconds, profileId, schemaLink } from "./fields.ts";

const report = v.pipe(
  v.array(byte),
  v.minLength(1),
  v.maxLength(65),
  v.description("The whole report in bytes, the report's id first (0 where there is none)"),
);
const line = v.picklist(["dtr", "rts"]);

/** A release's profile as it stands in its file. */
export const releaseProfileSchema = v.variant("kind", [
  v.strictObject({
    $schema: schemaLink,
    id: profileId,
    label,
    kind: v.literal("serial"),
    line,
    closedAt: v.picklist(["high", "low"]),
    halfLine: v.nullable(line),
    halfPressMs: milliseconds,
    busySeconds: v.pipe(v.number(), v.minValue(0), v.maxValue(600)),
    evidence,
  }),
  v.strictObject({
    $schema: schemaLink,
    id: profileId,
    label,
    kind: v.literal("hid"),
    match: v.strictObject({ usbVendorId: code16, usbProductId: code16 }),
    reportKind: v.picklist(["output", "feature"]),
    closeReport: report,
    openReport: report,
    busySeconds: v.pipe(v.number(), v.minValue(0), v.maxValue(600)),
    evidence,
  }),
]);

export type ReleaseProfile = v.InferOutput<typeof releaseProfileSchema>;

import * as v from "valibot";
import { evidence, label, milliseconds, profileId, schemaLink } from "./fields.ts";

/** A sensor's profile as it stands in its file. */
export const sensorProfileSchema = v.strictObject({
  $schema: schemaLink,
  id: profileId,
  label,
  kind: v.picklist(["gnss", "lightMeter", "climate"]),
  protocol: v.picklist(["nmea0183", "nattvaktLines"]),
  baudRate: v.pipe(v.number(), v.integer(), v.minValue(50), v.maxValue(4_000_000)),
  silenceMsMax: v.pipe(
    milliseconds,
    v.description("Silent for so long, the sensor counts as gone and is opened again"),
  ),
  evidence,
});

export type SensorProfile = v.InferOutput<typeof sensorProfileSchema>;

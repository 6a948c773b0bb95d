import { toJsonSchema } from "@valibot/to-json-schema";
import { cameraProfileParts, cameraProfileSchema } from "../../core/profiles/cameraProfile.ts";
import { releaseProfileSchema } from "../../core/profiles/releaseProfile.ts";
import { sensorProfileSchema } from "../../core/profiles/sensorProfile.ts";

/** The published schemas by their file's name, made from those that the program itself checks with. */
export function profileJsonSchemas(): Readonly<Record<string, object>> {
  return {
    "camera.schema.json": schemaOf(
      "A camera, as Nattvakt works it",
      cameraProfileSchema,
      cameraProfileParts,
    ),
    "release.schema.json": schemaOf("A release contact", releaseProfileSchema),
    "sensor.schema.json": schemaOf("A sensor on a serial line", sensorProfileSchema),
  };
}

type Schema = Parameters<typeof toJsonSchema>[0];

function schemaOf(
  title: string,
  schema: Schema,
  definitions: Readonly<Record<string, Schema>> = {},
): object {
  return { title, ...toJsonSchema(schema, { errorMode: "throw", definitions }) };
}

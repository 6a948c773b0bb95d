// Writes the published schemas again after a change of core/profiles.
import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { profileJsonSchemas } from "./jsonSchemas.ts";
import { SHIPPED_DIR } from "./readProfiles.ts";

for (const [name, schema] of Object.entries(profileJsonSchemas())) {
  writeFileSync(join(SHIPPED_DIR, "schema", name), `${JSON.stringify(schema, null, 2)}\n`);
}

import * as v from "valibot";

/** A code or id of 16 bits, as in "0x500d". */
export const code16 = v.pipe(
  v.string(),
  v.regex(/^0x[0-9a-f]{4}$/, 'a code is written like "0x500d"'),
  v.description("16 bits, lower-case hexadecimal with four digits"),
);

/** A number of 32 bits, as in "0x0000000b". */
export const code32 = v.pipe(
  v.string(),
  v.regex(/^0x[0-9a-f]{1,8}$/, 'a number is written like "0x0000000b"'),
  v.description("up to 32 bits, lower-case hexadecimal"),
);

export const profileId = v.pipe(
  v.string(),
  v.regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, "an id has lower-case letters, digits and single dashes"),
  v.description("Equals the file's name without its ending"),
);

export const label = v.pipe(v.string(), v.minLength(1), v.maxLength(120));

export const evidence = v.pipe(
  v.string(),
  v.minLength(1, "every claim says where it comes from"),
  v.description(
    'Where the claim comes from: a published text, a bench check with its date, or "from memory, not tried on hardware"',
  ),
);

export const milliseconds = v.pipe(v.number(), v.minValue(0), v.maxValue(3_600_000));

export const byte = v.pipe(v.number(), v.integer(), v.minValue(0), v.maxValue(255));

/** For editors: the schema that the file follows. */
export const schemaLink = v.optional(v.string());

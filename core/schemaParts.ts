import * as v from "valibot";

/** A number from outside, whose refusal names it: "The wind must be a number." */
export function number(name: string) {
  return v.pipe(v.number(`${name} must be a number.`), v.finite());
}

/** A field that may be left out; null counts as left out, as forms and old files write it. */
export function maybe<const S extends v.GenericSchema>(schema: S) {
  return v.optional(
    v.pipe(
      v.nullable(schema),
      v.transform((value): v.InferOutput<S> | undefined => value ?? undefined),
    ),
  );
}

/** The sentence for something that is no object, or lacks a field. */
export function needs(what: string): (issue: v.BaseIssue<unknown>) => string {
  return ({ path }) => {
    const key = path?.at(-1)?.key;
    return key === undefined ? `${what} must be an object.` : `${what} needs ${String(key)}.`;
  };
}

/** What a report for somebody else must not say, and what stands in its place. */
export type PrivateWords = {
  /** The same serial number gives the same word, which does not lead back to it. */
  readonly serialWord: (serial: string) => string;
  /** What is replaced wherever it stands, in this order. */
  readonly replaced: readonly (readonly [pattern: RegExp, word: string])[];
};

const PLACE_KEYS = /^(?:latitude|longitude|lat|lon|elevation|altitudeM|place|placeName|gps)/i;
const SERIAL_KEYS = /serial/i;
/** What stands where something was left out. */
const LEFT_OUT = "(left out)";

/** Finds a text wherever it stands, or only as a word of its own: a short name stands by chance in others. */
export function patternOf(text: string, { isWord }: { readonly isWord: boolean }): RegExp {
  const escaped = text.replaceAll(/[.*+?^${}()|[\]\\]/g, "\\$&");
  return new RegExp(isWord ? `(?<![\\w-])${escaped}(?![\\w-])` : escaped, "g");
}

/** Every serial number in a value, whatever it is nested in. */
export function serialNumbersIn(value: unknown): readonly string[] {
  if (Array.isArray(value)) return value.flatMap(serialNumbersIn);
  if (typeof value !== "object" || value === null) return [];
  return Object.entries(value).flatMap(([key, inner]) =>
    SERIAL_KEYS.test(key) && typeof inner === "string" && inner !== ""
      ? [inner]
      : serialNumbersIn(inner),
  );
}

/** The same value without place and serial numbers; shapes and everything else stay. */
export function withoutPrivate(value: unknown, words: PrivateWords): unknown {
  if (typeof value === "string") return withoutPrivateText(value, words);
  if (Array.isArray(value)) return value.map((one) => withoutPrivate(one, words));
  if (typeof value !== "object" || value === null) return value;
  return Object.fromEntries(
    Object.entries(value).map(([key, inner]) => {
      if (PLACE_KEYS.test(key)) return [key, inner === null ? null : LEFT_OUT];
      if (SERIAL_KEYS.test(key) && typeof inner === "string" && inner !== "") {
        return [key, words.serialWord(inner)];
      }
      return [key, withoutPrivate(inner, words)];
    }),
  );
}

export function withoutPrivateText(text: string, { replaced }: PrivateWords): string {
  return replaced.reduce((rest, [pattern, word]) => rest.replaceAll(pattern, word), text);
}

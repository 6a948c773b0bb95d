import type { DataType, PtpValue, ValueOf } from "./dataTypes.ts";
import { createReader } from "./reader.ts";
import { createWriter } from "./writer.ts";

/** The value that a set of fields describes. */
export type FieldValues<F> = { readonly [K in keyof F]: ValueOf<F[K]> };

/** A dataset declared once; its type, decoder and encoder derive from the fields. */
type Dataset<F> = {
  readonly name: string;
  readonly decode: (bytes: Uint8Array) => FieldValues<F>;
  readonly encode: (value: FieldValues<F>) => Uint8Array;
};

/**
 * Declares a dataset.
 *
 * Decoding is tolerant at the end and strict inside: fields that the sender left out altogether
 * take their type's empty value, bytes after the last field are ignored, but a field that begins
 * and does not end is an error, and so is a dataset without its first `requiredCount` fields.
 *
 * @param fields  In wire order.
 * @throws NightError from `decode`: `ptp.truncated`; from `encode`: `quantity.out_of_range`.
 */
export function dataset<const F extends Readonly<Record<string, unknown>>>(
  name: string,
  fields: F,
  requiredCount: number,
): Dataset<F> {
  const entries = Object.entries(fields) as [string, DataType][];
  return {
    name,
    decode: (bytes) => {
      const reader = createReader(bytes, name);
      const value: Record<string, PtpValue> = {};
      for (const [index, [field, type]] of entries.entries()) {
        const isLeftOut = index >= requiredCount && reader.remaining() === 0;
        value[field] = isLeftOut ? type.empty : type.read(reader);
      }
      return value as FieldValues<F>;
    },
    encode: (value) => {
      const writer = createWriter();
      for (const [field, type] of entries) type.write(writer, value[field] as PtpValue);
      return writer.toBytes();
    },
  };
}

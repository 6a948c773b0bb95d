import { NightError } from "../../errors.ts";
import { dataTypeOf, type DataType, type PtpValue } from "../dataTypes.ts";
import { createReader, type Reader } from "../reader.ts";
import { createWriter, type Writer } from "../writer.ts";

/** Which values a property may take. */
export type PropertyForm =
  | { readonly kind: "none" }
  /** min + N · step, up to max. */
  | {
      readonly kind: "range";
      readonly min: PtpValue;
      readonly max: PtpValue;
      readonly step: PtpValue;
    }
  | { readonly kind: "enumeration"; readonly values: readonly PtpValue[] }
  /** A form that the standard does not define, or one that could not be read. */
  | { readonly kind: "unknown"; readonly formFlag: number };

/** A property as the device describes it; raw values, to be read through its declaration. */
export type DevicePropDesc =
  | {
      readonly kind: "described";
      readonly code: number;
      readonly dataType: DataType;
      readonly isSettable: boolean;
      readonly factoryDefault: PtpValue;
      readonly current: PtpValue;
      readonly form: PropertyForm;
    }
  /** The data type is unknown, so nothing after it can be found. */
  | {
      readonly kind: "undescribed";
      readonly code: number;
      readonly dataTypeCode: number;
      readonly isSettable: boolean;
    };

/**
 * Reads the DevicePropDesc dataset. Tolerant: an unknown data type keeps what stands before it, an
 * unknown or cut form is kept as "unknown", bytes after the form are ignored.
 *
 * @throws NightError `ptp.truncated` when the values themselves are cut.
 * Source: MTP 1.1 §5.1.2.1; the form of an array holds single elements.
 */
export function decodeDevicePropDesc(bytes: Uint8Array): DevicePropDesc {
  const reader = createReader(bytes, "DevicePropDesc");
  const code = reader.u16();
  const dataTypeCode = reader.u16();
  const isSettable = reader.u8() === 1;
  const dataType = dataTypeOf(dataTypeCode);
  if (dataType === null) return { kind: "undescribed", code, dataTypeCode, isSettable };
  const factoryDefault = dataType.read(reader);
  const current = dataType.read(reader);
  const form = readForm(reader, elementOf(dataType));
  return { kind: "described", code, dataType, isSettable, factoryDefault, current, form };
}

/** Writes the DevicePropDesc dataset. @throws NightError `quantity.out_of_range`. */
export function encodeDevicePropDesc(desc: DevicePropDesc): Uint8Array {
  const writer = createWriter();
  writer.u16(desc.code);
  if (desc.kind === "undescribed") {
    writer.u16(desc.dataTypeCode);
    writer.u8(desc.isSettable ? 1 : 0);
    return writer.toBytes();
  }
  writer.u16(desc.dataType.code);
  writer.u8(desc.isSettable ? 1 : 0);
  desc.dataType.write(writer, desc.factoryDefault);
  desc.dataType.write(writer, desc.current);
  writeForm(writer, elementOf(desc.dataType), desc.form);
  return writer.toBytes();
}

/**
 * The values that may be set, in the device's order: an enumeration as it is, a range of numbers
 * counted out. Empty when the form does not limit, or is a range of strings, has a step that is not
 * positive, or more than `countMax` values. A range of 64-bit numbers is counted out in plain ones.
 */
export function legalValues(form: PropertyForm, countMax = 10_000): readonly PtpValue[] {
  if (form.kind === "enumeration") return form.values;
  if (form.kind !== "range") return [];
  const [min, max, step] = [form.min, form.max, form.step].map((end) =>
    typeof end === "number" || typeof end === "bigint" ? Number(end) : NaN,
  ) as [number, number, number];
  const count = Math.floor((max - min) / step) + 1;
  if (!(step > 0) || !(count >= 1 && count <= countMax)) return [];
  return Array.from({ length: count }, (_, index) => min + index * step);
}

/** Whether a form allows this value; a form that is none or unknown allows every one. */
export function isLegal(form: PropertyForm, value: PtpValue): boolean {
  switch (form.kind) {
    case "none":
    case "unknown":
      return true;
    case "enumeration":
      return form.values.includes(value);
    case "range":
      if (typeof value === "number") {
        const min = Number(form.min);
        const step = Number(form.step);
        return (
          value >= min &&
          value <= Number(form.max) &&
          (step === 0 || Number.isInteger((value - min) / step))
        );
      }
      return value >= form.min && value <= form.max;
  }
}

/**
 * Reads a property's bare value, as GetDevicePropValue and SetDevicePropValue carry it.
 * @throws NightError `ptp.truncated` or `ptp.trailing_bytes` when the length is not the type's.
 */
export function decodePropertyValue(dataType: DataType, bytes: Uint8Array): PtpValue {
  const reader = createReader(bytes, `a value of ${dataType.name}`);
  const value = dataType.read(reader);
  reader.end();
  return value;
}

/** Writes a property's bare value. @throws NightError `quantity.out_of_range`. */
export function encodePropertyValue(dataType: DataType, value: PtpValue): Uint8Array {
  const writer = createWriter();
  dataType.write(writer, value);
  return writer.toBytes();
}

function elementOf(dataType: DataType): DataType {
  const isArray = (dataType.code & 0xf000) === 0x4000;
  return isArray ? (dataTypeOf(dataType.code & 0x0fff) ?? dataType) : dataType;
}

function readForm(reader: Reader, element: DataType): PropertyForm {
  if (reader.remaining() === 0) return { kind: "none" };
  const formFlag = reader.u8();
  try {
    if (formFlag === 0) return { kind: "none" };
    if (formFlag === 1) {
      const min = element.read(reader);
      const max = element.read(reader);
      return { kind: "range", min, max, step: element.read(reader) };
    }
    if (formFlag === 2) return readEnumeration(reader, element);
  } catch (thrown) {
    // A cut form costs the choice of values, not the property.
    if (!(thrown instanceof NightError && thrown.code === "ptp.truncated")) throw thrown;
  }
  return { kind: "unknown", formFlag };
}

function readEnumeration(reader: Reader, element: DataType): PropertyForm {
  const count = reader.u16();
  const values = Array.from({ length: count }, () => element.read(reader));
  return { kind: "enumeration", values };
}

function writeForm(writer: Writer, element: DataType, form: PropertyForm): void {
  switch (form.kind) {
    case "none":
      return writer.u8(0);
    case "unknown":
      return writer.u8(form.formFlag);
    case "range":
      writer.u8(1);
      for (const value of [form.min, form.max, form.step]) element.write(writer, value);
      return;
    case "enumeration":
      writer.u8(2);
      writer.u16(form.values.length);
      for (const value of form.values) element.write(writer, value);
  }
}

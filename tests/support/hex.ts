/** Bytes from hexadecimal text; spaces and line breaks are free. */
export function fromHex(text: string): Uint8Array {
  const digits = text.replaceAll(/\s/g, "");
  return Uint8Array.from({ length: digits.length / 2 }, (_, index) =>
    Number.parseInt(digits.slice(index * 2, index * 2 + 2), 16),
  );
}

/** Bytes as hexadecimal text, a space between bytes, so that a failing test can be read. */
export function toHex(bytes: Uint8Array): string {
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join(" ");
}

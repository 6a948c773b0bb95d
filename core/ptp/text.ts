/** Most visible UTF-16 code units in a protocol string: its count byte includes the NUL. */
export const STRING_UNITS_MAX = 254;

/**
 * Text with every unpaired surrogate replaced by U+FFFD, so that it survives any encoding.
 * Source: the Unicode Standard, chapter 3.9, from memory.
 */
export function wellFormedText(text: string): string {
  let result = "";
  for (const character of text) {
    const unit = character.charCodeAt(0);
    const isLoneSurrogate = character.length === 1 && unit >= 0xd800 && unit <= 0xdfff;
    result += isLoneSurrogate ? "\uFFFD" : character;
  }
  return result;
}

/**
 * The longest beginning of `text` that fits in `unitsMax` code units without cutting a surrogate
 * pair in two.
 */
export function fitText(text: string, unitsMax: number): string {
  if (text.length <= unitsMax) return text;
  const last = text.charCodeAt(unitsMax - 1);
  const cutsAPair = last >= 0xd800 && last <= 0xdbff;
  return text.slice(0, cutsAPair ? unitsMax - 1 : unitsMax);
}

/** The number that somebody typed, with a comma or a real minus too; null: none. */
export function typedNumber(typed: string): number | null {
  const plain = typed.trim().replace(",", ".").replace("−", "-");
  return plain === "" || !Number.isFinite(Number(plain)) ? null : Number(plain);
}

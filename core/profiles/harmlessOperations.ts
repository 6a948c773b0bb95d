/**
 * The standard's operations that a hardware profile may name; `core/ptp/operations.ts`, which stands
 * above, declares them with these codes. Profiles are sent from person to person, so one may make
 * pictures and read and set properties, and nothing else of the standard: not delete, format, reset,
 * power down, protect, move, or write objects.
 * Source: MTP 1.1, appendix D, for what each operation does.
 */
export const PROFILE_OPERATIONS = {
  GetDeviceInfo: 0x1001,
  InitiateCapture: 0x100e,
  GetDevicePropDesc: 0x1014,
  GetDevicePropValue: 0x1015,
  SetDevicePropValue: 0x1016,
  TerminateOpenCapture: 0x1018,
  InitiateOpenCapture: 0x101c,
} as const;

const STANDARD_ALLOWED: ReadonlySet<number> = new Set(Object.values(PROFILE_OPERATIONS));

/** From here on the codes are a maker's own. Source: MTP 1.1, §3.3.1. */
const MAKERS_FROM = 0x9000;
/** Within a maker's range, but the media protocol's: they send, move and delete objects. */
const MEDIA_PROTOCOL = { from: 0x9800, to: 0x9fff } as const;

/** Whether a profile may have the camera do this at all. */
export function isHarmless(operation: number): boolean {
  if (operation < MAKERS_FROM) return STANDARD_ALLOWED.has(operation);
  return operation < MEDIA_PROTOCOL.from || operation > MEDIA_PROTOCOL.to;
}

/** Whether only its maker knows what this does. */
export function isMakersOwn(operation: number): boolean {
  return operation >= MAKERS_FROM;
}

/** An operation that a profile names, and where. */
type NamedOperation = { readonly pointer: string; readonly operation: number };

/**
 * Every operation that stands in a profile, wherever it stands.
 *
 * @param profile  As read from its file; the operations that it only matches by are no orders.
 */
export function operationsIn(profile: unknown, pointer = ""): readonly NamedOperation[] {
  if (typeof profile !== "object" || profile === null) return [];
  return Object.entries(profile as Record<string, unknown>).flatMap(([key, value]) => {
    const here = `${pointer}/${key}`;
    if (here === "/match" || here === "/measured") return [];
    if (typeof value === "object") return operationsIn(value, here);
    const isOperation = OPERATION_KEYS.includes(key) && typeof value === "string";
    return isOperation && /^0x[0-9a-f]+$/i.test(value)
      ? [{ pointer: here, operation: Number(value) }]
      : [];
  });
}

/** Fields of a profile that hold an operation's code. */
const OPERATION_KEYS: readonly string[] = ["operation", "open", "close"];

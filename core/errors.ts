/**
 * What the night does about an error:
 * `retry` the same thing soon; `degrade`: go on with less; `stop`: only the photographer can mend
 * it; `usage`: a command was called wrongly (exit code 2); `bug`: costs one decision, not the night.
 */
type Recovery = "retry" | "degrade" | "stop" | "usage" | "bug";

/** Every error code and its recovery. Codes are never renamed or reused. */
const ERROR_CODES = {
  "archive.in_use": "stop",
  "archive.newer": "stop",
  "archive.no_locks": "stop",
  "archive.read_only": "stop",
  "archive.corrupt": "degrade",
  "archive.disk_full": "stop",
  "archive.not_found": "usage",
  "camera.busy": "retry",
  "camera.card_full": "stop",
  "camera.gone": "degrade",
  "camera.unreachable": "degrade",
  "camera.refused": "degrade",
  "camera.not_manual": "stop",
  "camera.unsupported": "stop",
  "camera.frame_missing": "degrade",
  "daemon.busy": "stop",
  "daemon.not_running": "stop",
  "deliver.failed": "stop",
  "image.unreadable": "degrade",
  "invariant.violated": "bug",
  "package.no_binary": "stop",
  "port.taken": "stop",
  "profile.invalid": "stop",
  "ptp.cancelled": "retry",
  "ptp.malformed": "retry",
  "ptp.response": "degrade",
  "ptp.timeout": "retry",
  "ptp.trailing_bytes": "retry",
  "ptp.truncated": "retry",
  "quantity.out_of_range": "bug",
  "release.gone": "degrade",
  "release.unsafe": "stop",
  "sensor.gone": "degrade",
  "service.unavailable": "stop",
  "settings.invalid": "usage",
  "sky.file_invalid": "usage",
  "usage.invalid": "usage",
  "web.not_found": "usage",
  "web.refused": "usage",
} as const satisfies Record<string, Recovery>;

/** A stable code: never renamed, never reused. */
export type ErrorCode = keyof typeof ERROR_CODES;

/** Details that help to mend an error: numbers, names, codes. */
type ErrorDetails = Readonly<Record<string, unknown>>;

/**
 * The one error class. Callers branch on `code`, never on the text.
 *
 * @param sentence  One clear sentence for the person in the dark: what happened and what to do.
 */
export class NightError extends Error {
  readonly code: ErrorCode;
  readonly details: ErrorDetails;

  constructor(
    code: ErrorCode,
    sentence: string,
    details: ErrorDetails = {},
    options?: ErrorOptions,
  ) {
    super(sentence, options);
    this.name = "NightError";
    this.code = code;
    this.details = details;
  }

  get recovery(): Recovery {
    return ERROR_CODES[this.code];
  }
}

/** States what must hold. @throws NightError `invariant.violated` when it does not. */
export function invariant(condition: unknown, why: string): asserts condition {
  if (!condition) throw new NightError("invariant.violated", why);
}

/** Errors that only a mistake in a program's own code throws. */
const OWN_MISTAKES = [TypeError, ReferenceError, RangeError];

/** Any thrown thing as a NightError; foreign errors are wrapped with `cause`. */
export function asNightError(thrown: unknown, code: ErrorCode = "invariant.violated"): NightError {
  if (thrown instanceof NightError) return thrown;
  const text = thrown instanceof Error ? thrown.message : String(thrown);
  const isOurs = OWN_MISTAKES.some((mistake) => thrown instanceof mistake);
  const sentence = isOurs ? `Nattvakt has a fault of its own; please report it: ${text}.` : text;
  return new NightError(code, sentence, {}, { cause: thrown });
}

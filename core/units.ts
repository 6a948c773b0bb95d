import { NightError } from "./errors.ts";

declare const unit: unique symbol;
type Quantity<U extends string> = number & { readonly [unit]: U };

/** Wall-clock time, milliseconds since 1970-01-01T00:00:00 UTC. Only written down, never timed with. */
export type UtcMs = Quantity<"ms since epoch">;

/**
 * Night time: milliseconds on the night's monotonic clock. It runs at the night's rate, so that at
 * 10× one real second is 10,000 of these; every deadline and duration in the program uses it.
 */
export type MonotonicMs = Quantity<"ms monotonic">;

/** @throws NightError `quantity.out_of_range` unless finite. */
export function utcMs(value: number): UtcMs {
  return finite(value, "utcMs") as UtcMs;
}

/** @throws NightError `quantity.out_of_range` unless finite. */
export function monotonicMs(value: number): MonotonicMs {
  return finite(value, "monotonicMs") as MonotonicMs;
}

function finite(value: number, name: string): number {
  if (!Number.isFinite(value)) {
    throw new NightError("quantity.out_of_range", `${name} must be a finite number`, { value });
  }
  return value;
}

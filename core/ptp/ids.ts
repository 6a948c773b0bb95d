import { NightError } from "../errors.ts";

declare const id: unique symbol;
type Id<Name extends string> = number & { readonly [id]: Name };

/** Numbers a transaction within its session; unsigned 32 bits. */
export type TransactionId = Id<"transaction">;

/** Names an object (file or folder) within a session; unsigned 32 bits, chosen by the responder. */
export type ObjectHandle = Id<"object">;

/** The transaction number of everything outside a session, OpenSession itself included. */
export const NO_TRANSACTION = 0 as TransactionId;

/** Wildcard parameter: all stores, all objects, or the root, by context. Source: MTP 1.1 §5.2.1, D.2.6. */
export const ALL = 0xffffffff;

/** @throws NightError `quantity.out_of_range` unless an unsigned 32-bit integer. */
export function transactionId(value: number): TransactionId {
  return uint32(value, "a transaction number") as TransactionId;
}

/** @throws NightError `quantity.out_of_range` unless an unsigned 32-bit integer. */
export function objectHandle(value: number): ObjectHandle {
  return uint32(value, "an object handle") as ObjectHandle;
}

/**
 * The number of the next transaction: 1 after 0 (the first of a session), and 1 again after
 * 0xFFFFFFFE, because 0xFFFFFFFF is never valid. Source: MTP 1.1 §4.3.3.
 */
export function nextTransactionId(current: TransactionId): TransactionId {
  return (current >= 0xfffffffe ? 1 : current + 1) as TransactionId;
}

function uint32(value: number, what: string): number {
  if (!Number.isInteger(value) || value < 0 || value > 0xffffffff) {
    throw new NightError("quantity.out_of_range", `${what} must be an unsigned 32-bit integer`, {
      value,
    });
  }
  return value;
}

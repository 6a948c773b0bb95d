import { createHash } from "node:crypto";
import { hostname } from "node:os";
import { IpTransport } from "./ip/ipTransport.ts";
import type { Transport } from "./transport.ts";
import { UsbTransport } from "./usb/usbTransport.ts";

/** Where a camera is reached. */
export type CameraTarget =
  | { readonly kind: "ip"; readonly host: string; readonly port: number }
  /** By serial number or place on the bus ("1-2.3"); null: the only camera there is. */
  | { readonly kind: "usb"; readonly which: string | null };

/** A fresh transport to a camera; one serves one connection. */
export function createTransport(target: CameraTarget): Transport {
  if (target.kind === "usb") return new UsbTransport({ which: target.which });
  return new IpTransport({
    host: target.host,
    port: target.port,
    initiatorGuid: installationGuid(),
  });
}

/**
 * 16 bytes that stay the same on this computer: cameras remember whom they were paired with.
 * Derived, so that nothing needs to be stored; the computer's name cannot be read out of it.
 */
export function installationGuid(): Uint8Array {
  return createHash("sha256").update(`nattvakt ${hostname()}`).digest().subarray(0, 16);
}

/** Event codes by the standard's names. Source: MTP 1.1 App. G. */
export const EVENTS = {
  Undefined: 0x4000,
  /** The transaction is the one in the event's own transaction field. */
  CancelTransaction: 0x4001,
  /** P1: object handle; one event an object. */
  ObjectAdded: 0x4002,
  /** P1: object handle. */
  ObjectRemoved: 0x4003,
  /** P1: storage id, or 0. */
  StoreAdded: 0x4004,
  /** P1: storage id. */
  StoreRemoved: 0x4005,
  /** P1: property code. */
  DevicePropChanged: 0x4006,
  /** P1: object handle. */
  ObjectInfoChanged: 0x4007,
  DeviceInfoChanged: 0x4008,
  /** P1: object handle. */
  RequestObjectTransfer: 0x4009,
  /** P1: storage id; what was written is kept. */
  StoreFull: 0x400a,
  DeviceReset: 0x400b,
  /** P1: storage id. */
  StorageInfoChanged: 0x400c,
  /** P1: transaction of the InitiateCapture. */
  CaptureComplete: 0x400d,
  /** Something changed unseen: refresh everything. */
  UnreportedStatus: 0x400e,
} as const;

const NAMES: ReadonlyMap<number, string> = new Map(
  Object.entries(EVENTS).map(([name, code]) => [code, name]),
);

/** The standard's name of an event code, or its number: devices invent codes. */
export function eventName(code: number): string {
  return NAMES.get(code) ?? `event 0x${code.toString(16).padStart(4, "0")}`;
}

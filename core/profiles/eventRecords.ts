/** An event that a camera reported when it was asked. */
export type PolledEvent = { readonly eventCode: number; readonly parameter: number | null };

/** More than this in one answer is no list of events. */
const EVENTS_MAX = 4096;

/**
 * Reads what a camera answers when it is asked for its events; little-endian, as all of the protocol.
 *
 * "countedPairs": 16-bit count, then for each a 16-bit code and a 32-bit parameter.
 * "sizedRecords": for each a 32-bit size of the whole record, a 32-bit code and a 32-bit parameter
 * as far as the size allows; a record of size 8 with code 0 ends the list.
 *
 * A list that is cut off gives what was whole of it. Source: from memory, not tried on hardware.
 */
export function readEventRecords(
  data: Uint8Array,
  layout: "countedPairs" | "sizedRecords",
): readonly PolledEvent[] {
  const view = new DataView(data.buffer, data.byteOffset, data.byteLength);
  return layout === "countedPairs" ? readPairs(view) : readRecords(view);
}

function readPairs(view: DataView): readonly PolledEvent[] {
  if (view.byteLength < 2) return [];
  const fitting = Math.floor((view.byteLength - 2) / 6);
  const count = Math.min(view.getUint16(0, true), fitting);
  return Array.from({ length: count }, (_, index) => ({
    eventCode: view.getUint16(2 + index * 6, true),
    parameter: view.getUint32(4 + index * 6, true),
  }));
}

function readRecords(view: DataView): readonly PolledEvent[] {
  const events: PolledEvent[] = [];
  let at = 0;
  while (at + 8 <= view.byteLength && events.length < EVENTS_MAX) {
    const bytes = view.getUint32(at, true);
    const eventCode = view.getUint32(at + 4, true);
    if (bytes < 8 || at + bytes > view.byteLength || (bytes === 8 && eventCode === 0)) break;
    const parameter = bytes >= 12 ? view.getUint32(at + 8, true) : null;
    events.push({ eventCode, parameter });
    at += bytes;
  }
  return events;
}

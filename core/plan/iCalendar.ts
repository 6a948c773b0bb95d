/** One entry of a calendar. */
export type CalendarEvent = {
  /** Stays the same when the same event is written again. */
  readonly uid: string;
  /** ISO 8601 in UTC. */
  readonly start: string;
  /** `null`: a moment, no stretch. */
  readonly end: string | null;
  readonly title: string;
  readonly description: string;
  readonly location: string;
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
};

/** Longest content line, octets without its line break. Source: RFC 5545, section 3.1. */
const LINE_OCTETS_MAX = 75;

/**
 * A calendar file in iCalendar: UTC times, escaped text, folded lines, each ending in CR LF.
 *
 * @param writtenAt  ISO 8601 in UTC, the moment of writing (DTSTAMP, required for every event).
 * Source: RFC 5545, sections 3.1 (folding), 3.3.5 (UTC date-time), 3.3.11 (text), 3.6.1 (event),
 * 3.8.1.6 (GEO). A moment is an event with a start and no end; it takes no time (TRANSPARENT).
 */
export function iCalendarOf(options: {
  readonly name: string;
  readonly events: readonly CalendarEvent[];
  readonly writtenAt: string;
}): string {
  const { name, events, writtenAt } = options;
  const lines = [
    "BEGIN:VCALENDAR",
    "VERSION:2.0",
    "PRODID:-//Nattvakt//Night plan//EN",
    "CALSCALE:GREGORIAN",
    "METHOD:PUBLISH",
    `NAME:${escapeText(name)}`,
    ...events.flatMap((event) => eventLines(event, writtenAt)),
    "END:VCALENDAR",
  ];
  return lines.map((line) => `${foldLine(line)}\r\n`).join("");
}

function eventLines(event: CalendarEvent, writtenAt: string): readonly string[] {
  const geo = `${event.latitudeDeg.toFixed(6)};${event.longitudeDeg.toFixed(6)}`;
  return [
    "BEGIN:VEVENT",
    `UID:${escapeText(event.uid)}`,
    `DTSTAMP:${utcText(writtenAt)}`,
    `DTSTART:${utcText(event.start)}`,
    ...(event.end === null ? [] : [`DTEND:${utcText(event.end)}`]),
    `SUMMARY:${escapeText(event.title)}`,
    `DESCRIPTION:${escapeText(event.description)}`,
    `LOCATION:${escapeText(event.location)}`,
    `GEO:${geo}`,
    "TRANSP:TRANSPARENT",
    "END:VEVENT",
  ];
}

/** `2026-11-25T17:04:09Z` as `20261125T170409Z`. */
function utcText(iso: string): string {
  return iso.replace(/\.\d+/, "").replace(/[-:]/g, "");
}

/** Backslash, semicolon and comma escaped, line breaks written as `\n`; other controls left out. */
function escapeText(text: string): string {
  return text
    .replace(/\r\n?/g, "\n")
    .replace(/[\\;,]/g, (sign) => `\\${sign}`)
    .replace(/\n/g, "\\n")
    .replace(/\p{Cc}/gu, "");
}

/** Breaks a line after at most 75 octets, never inside a character. */
function foldLine(line: string): string {
  const parts: string[] = [];
  let part = "";
  let octets = 0;
  for (const character of line) {
    const size = utf8Octets(character);
    if (octets + size > LINE_OCTETS_MAX) {
      parts.push(part);
      part = "";
      // The continuation's leading space counts.
      octets = 1;
    }
    part += character;
    octets += size;
  }
  return [...parts, part].join("\r\n ");
}

function utf8Octets(character: string): number {
  const code = character.codePointAt(0) ?? 0;
  return code < 0x80 ? 1 : code < 0x800 ? 2 : code < 0x10000 ? 3 : 4;
}

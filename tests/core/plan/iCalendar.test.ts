import fc from "../../support/properties.ts";
import { describe, expect, it } from "vitest";

import { iCalendarOf, type CalendarEvent } from "../../../core/plan/iCalendar.ts";
import { planEvents } from "../../../core/plan/calendar.ts";
import { planWith } from "../../support/planFixtures.ts";

const EVENT: CalendarEvent = {
  uid: "1@nattvakt.invalid",
  start: "2026-11-10T15:09:00Z",
  end: "2026-11-11T04:43:00Z",
  title: "Watch",
  description: "plain",
  location: "Hut Seven",
  latitudeDeg: 68.9,
  longitudeDeg: 27,
};

const textOf = (event: Partial<CalendarEvent>) =>
  iCalendarOf({
    name: "night",
    events: [{ ...EVENT, ...event }],
    writtenAt: "2026-11-10T12:00:00Z",
  });

/** Source: RFC 5545, section 3.1: a line break followed by one white space is taken out. */
const unfold = (text: string) => text.replace(/\r\n[ \t]/g, "").split("\r\n");

/** Source: RFC 5545, section 3.3.11. */
const unescape = (text: string) =>
  text.replace(/\\([\\;,nN])/g, (_, sign: string) => (/n/i.test(sign) ? "\n" : sign));

const valueOf = (text: string, name: string) =>
  unfold(text)
    .find((line) => line.startsWith(`${name}:`))!
    .slice(name.length + 1);

describe("a calendar file (RFC 5545)", () => {
  it("has the required frame, UTC times and line ends of CR LF", () => {
    const text = textOf({});
    expect(text.startsWith("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:")).toBe(true);
    expect(text.endsWith("END:VEVENT\r\nEND:VCALENDAR\r\n")).toBe(true);
    expect(valueOf(text, "DTSTART")).toBe("20261110T150900Z");
    expect(valueOf(text, "DTEND")).toBe("20261111T044300Z");
    expect(valueOf(text, "DTSTAMP")).toBe("20261110T120000Z");
    expect(valueOf(text, "GEO")).toBe("68.900000;27.000000");
    expect(text.replace(/\r\n/g, "")).not.toMatch(/[\r\n]/);
  });

  it("leaves the end out of a moment", () => {
    expect(textOf({ end: null })).not.toContain("DTEND");
  });

  it("escapes comma, semicolon, backslash and line break as the standard's example does", () => {
    // Source: RFC 5545, section 3.3.11: "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    const description = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.";
    expect(valueOf(textOf({ description }), "DESCRIPTION")).toBe(
      "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared.",
    );
    expect(valueOf(textOf({ title: "a,b;c\\d" }), "SUMMARY")).toBe("a\\,b\\;c\\\\d");
  });

  it("folds lines at 75 octets at most, never inside a character, and loses nothing", () => {
    fc.assert(
      fc.property(fc.string({ unit: "grapheme", maxLength: 400 }), (raw) => {
        const description = raw.replace(/\p{Cc}/gu, "");
        const text = textOf({ description });
        for (const line of text.split("\r\n")) {
          expect(new TextEncoder().encode(line).length).toBeLessThanOrEqual(75);
          expect(line).not.toMatch(/\uFFFD/);
        }
        expect(unescape(valueOf(text, "DESCRIPTION"))).toBe(description);
      }),
      { numRuns: 200 },
    );
  });
});

describe("a plan's calendar", () => {
  it("holds sunset, darkness, Moon, watch and the reminder to cap the lens before sunrise", () => {
    const plan = planWith({ dateIso: "2026-10-05", placeName: "Hut Seven, by the lake" });
    const events = planEvents(plan);
    const titles = events.map(({ title }) => title);
    expect(titles).toEqual([
      "Sunset",
      "Nautical darkness",
      "Astronomical darkness",
      "Moonrise",
      "Moonset",
      "Aurora watch",
      "End of the watch: cap the lens",
      "Sunrise",
    ]);
    const cap = events.find(({ title }) => title.includes("cap the lens"))!;
    expect(cap.start < plan.sunrise!).toBe(true);
    expect(new Set(events.map(({ uid }) => uid)).size).toBe(events.length);
  });

  it("has no events for what does not happen at midsummer but the Moon's", () => {
    const titles = planEvents(planWith({ dateIso: "2026-06-21" })).map(({ title }) => title);
    expect(titles.filter((title) => !title.startsWith("Moon"))).toEqual([]);
  });
});

import type { Exposure } from "../exposure/exposure.ts";
import type { UtcMs } from "../units.ts";

/** What a frame's XMP says. Null: not known, and then not written. */
export type XmpFields = {
  readonly exposure: Exposure | null;
  /** Opening of the shutter. */
  readonly takenUtcMs: UtcMs | null;
  /** Zone in which the time is written, minutes east of UTC. */
  readonly utcOffsetMinutes: number;
  readonly latitudeDeg: number | null;
  readonly longitudeDeg: number | null;
  /** Above the sea, metres. */
  readonly altitudeM: number | null;
  /** Which way the lens looked, from true north, clockwise. */
  readonly directionDeg: number | null;
  /** By how much delivering multiplies the light, stops. */
  readonly exposureBiasStops: number | null;
  /** 0..5; −1: left by hand. */
  readonly rating: number | null;
  readonly title: string | null;
  readonly description: string | null;
};

/** Source: ISO 16684-1:2019 (x, rdf, xmp, dc), CIPA DC-010 (exif, exifEX), from memory of both. */
const NAMESPACES = {
  xmp: "http://ns.adobe.com/xap/1.0/",
  dc: "http://purl.org/dc/elements/1.1/",
  exif: "http://ns.adobe.com/exif/1.0/",
  exifEX: "http://cipa.jp/exif/1.0/",
} as const;

/**
 * An XMP packet of standard namespaces only, as a sidecar file or inside a picture.
 *
 * Source: ISO 16684-1:2019; CIPA DC-010 for Exif's properties: rationals as "n/d", sensitivity both
 * as the older sequence and as exifEX's integer, dates in ISO 8601 with fraction and zone,
 * coordinates as "69,39.0000N".
 */
export function encodeXmp(fields: XmpFields): string {
  const properties = [...exposureProperties(fields), ...placeProperties(fields)];
  const { rating, title, description } = fields;
  if (rating !== null) properties.push(["xmp:Rating", String(rating)]);
  const simple = properties.map(([name, value]) => `   <${name}>${escapeXml(value)}</${name}>`);
  const structured = [
    ...(fields.exposure === null ? [] : [sensitivitySequence(fields.exposure)]),
    ...(title === null ? [] : [alternative("dc:title", title)]),
    ...(description === null ? [] : [alternative("dc:description", description)]),
  ];
  const namespaces = Object.entries(NAMESPACES).map(
    ([prefix, uri]) => `    xmlns:${prefix}="${uri}"`,
  );
  return [
    `<?xpacket begin="\uFEFF" id="W5M0MpCehiHzreSzNTczkc9d"?>`,
    `<x:xmpmeta xmlns:x="adobe:ns:meta/">`,
    ` <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">`,
    `  <rdf:Description rdf:about=""`,
    `${namespaces.join("\n")}>`,
    ...simple,
    ...structured,
    `  </rdf:Description>`,
    ` </rdf:RDF>`,
    `</x:xmpmeta>`,
    `<?xpacket end="w"?>`,
    "",
  ].join("\n");
}

function exposureProperties(fields: XmpFields): [string, string][] {
  const { exposure, exposureBiasStops } = fields;
  const properties: [string, string][] = [["xmp:CreatorTool", "Nattvakt"]];
  if (exposure !== null) {
    properties.push(
      ["exif:ExposureTime", rational(exposure.exposureSeconds)],
      ["exif:FNumber", rational(exposure.fNumber)],
      ["exif:ShutterSpeedValue", rational(-Math.log2(exposure.exposureSeconds))],
      ["exif:ApertureValue", rational(2 * Math.log2(exposure.fNumber))],
      ["exifEX:PhotographicSensitivity", String(Math.round(exposure.iso))],
    );
  }
  if (exposureBiasStops !== null) {
    properties.push(["exif:ExposureBiasValue", rational(exposureBiasStops)]);
  }
  if (fields.takenUtcMs !== null) {
    const date = isoTime(fields.takenUtcMs, fields.utcOffsetMinutes);
    properties.push(["exif:DateTimeOriginal", date], ["xmp:CreateDate", date]);
  }
  return properties;
}

/** The older way to say it, beside exifEX's. */
function sensitivitySequence({ iso }: Exposure): string {
  return `   <exif:ISOSpeedRatings><rdf:Seq><rdf:li>${Math.round(iso)}</rdf:li></rdf:Seq></exif:ISOSpeedRatings>`;
}

function placeProperties(fields: XmpFields): [string, string][] {
  const { latitudeDeg, longitudeDeg, altitudeM, directionDeg } = fields;
  const properties: [string, string][] = [];
  if (latitudeDeg !== null && longitudeDeg !== null) {
    properties.push(
      ["exif:GPSVersionID", "2.3.0.0"],
      ["exif:GPSLatitude", coordinate(latitudeDeg, "N", "S")],
      ["exif:GPSLongitude", coordinate(longitudeDeg, "E", "W")],
      ["exif:GPSMapDatum", "WGS-84"],
    );
  }
  if (altitudeM !== null) {
    properties.push(
      ["exif:GPSAltitude", rational(Math.abs(altitudeM))],
      ["exif:GPSAltitudeRef", altitudeM < 0 ? "1" : "0"],
    );
  }
  if (directionDeg !== null) {
    properties.push(
      ["exif:GPSImgDirection", rational(((directionDeg % 360) + 360) % 360)],
      ["exif:GPSImgDirectionRef", "T"],
    );
  }
  return properties;
}

/** To a millionth, in lowest terms: 7.43 is 743/100. */
function rational(value: number): string {
  const denominator = 1_000_000;
  const numerator = Math.round(value * denominator);
  const divisor = greatestCommonDivisor(Math.abs(numerator), denominator);
  return `${numerator / divisor}/${denominator / divisor}`;
}

function greatestCommonDivisor(a: number, b: number): number {
  return b === 0 ? a : greatestCommonDivisor(b, a % b);
}

function coordinate(degrees: number, positive: string, negative: string): string {
  const size = Math.abs(degrees);
  // Rounded as one number, so that 59.99999 minutes become the next degree.
  const tenThousandths = Math.round(size * 600_000);
  const whole = Math.floor(tenThousandths / 600_000);
  const minutes = (tenThousandths - whole * 600_000) / 10_000;
  return `${whole},${minutes.toFixed(4)}${degrees < 0 ? negative : positive}`;
}

/** ISO 8601 with milliseconds and zone. */
function isoTime(utcMs: UtcMs, offsetMinutes: number): string {
  const local = new Date(utcMs + offsetMinutes * 60_000).toISOString().slice(0, -1);
  const sign = offsetMinutes < 0 ? "-" : "+";
  const size = Math.abs(offsetMinutes);
  const two = (value: number): string => String(value).padStart(2, "0");
  return `${local}${sign}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}

function alternative(name: string, value: string): string {
  return `   <${name}><rdf:Alt><rdf:li xml:lang="x-default">${escapeXml(value)}</rdf:li></rdf:Alt></${name}>`;
}

function escapeXml(text: string): string {
  return (
    text
      // XML 1.0 cannot carry control characters at all.
      // eslint-disable-next-line no-control-regex
      .replace(/[\u0000-\u0008\u000b\u000c\u000e-\u001f]/g, "")
      .replace(/&/g, "&amp;")
      .replace(/</g, "&lt;")
      .replace(/>/g, "&gt;")
      .replace(/"/g, "&quot;")
  );
}

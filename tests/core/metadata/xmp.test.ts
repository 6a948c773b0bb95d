import { describe, expect, it } from "vitest";
import { encodeXmp, type XmpFields } from "../../../core/metadata/xmp.ts";
import { utcMs } from "../../../core/units.ts";

const FIELDS: XmpFields = {
  exposure: { exposureSeconds: 7.43, iso: 3200, fNumber: 2.8 },
  takenUtcMs: utcMs(Date.UTC(2026, 0, 10, 22, 15, 30, 250)),
  utcOffsetMinutes: 120,
  latitudeDeg: 69.65,
  longitudeDeg: -18.96,
  altitudeM: -3.5,
  directionDeg: -10,
  exposureBiasStops: -1 / 3,
  rating: 5,
  title: "Night <1> & more",
  description: "Hut Seven, frame 42",
};

describe("XMP", () => {
  it("writes rationals, dates and coordinates in the forms of CIPA DC-010", () => {
    const xmp = encodeXmp(FIELDS);
    expect(xmp).toContain("<exif:ExposureTime>743/100</exif:ExposureTime>");
    expect(xmp).toContain("<exif:FNumber>14/5</exif:FNumber>");
    expect(xmp).toContain("<exif:ExposureBiasValue>-333333/1000000</exif:ExposureBiasValue>");
    expect(xmp).toContain("<exif:DateTimeOriginal>2026-01-11T00:15:30.250+02:00<");
    expect(xmp).toContain("<exif:GPSLatitude>69,39.0000N</exif:GPSLatitude>");
    expect(xmp).toContain("<exif:GPSLongitude>18,57.6000W</exif:GPSLongitude>");
    expect(xmp).toContain("<exif:GPSAltitude>7/2</exif:GPSAltitude>");
    expect(xmp).toContain("<exif:GPSAltitudeRef>1</exif:GPSAltitudeRef>");
    expect(xmp).toContain("<exif:GPSImgDirection>350/1</exif:GPSImgDirection>");
    expect(xmp).toContain("<rdf:Seq><rdf:li>3200</rdf:li></rdf:Seq>");
    expect(xmp).toContain("Night &lt;1&gt; &amp; more");
  });

  it("carries a degree over when the minutes round up to sixty", () => {
    expect(encodeXmp({ ...FIELDS, latitudeDeg: 59.9999999 })).toContain(">60,0.0000N<");
  });

  it("leaves out what is not known and names no other namespaces than the standards'", () => {
    const xmp = encodeXmp({
      ...FIELDS,
      ...{ takenUtcMs: null, latitudeDeg: null, longitudeDeg: null, altitudeM: null },
      ...{
        directionDeg: null,
        exposureBiasStops: null,
        rating: null,
        title: null,
        description: null,
      },
    });
    expect(xmp).not.toMatch(/GPS|DateTime|xmp:Rating|dc:title|Bias/);
    const uris = [...xmp.matchAll(/xmlns:\w+="([^"]+)"/g)].map((match) => match[1]);
    expect(uris).toEqual([
      "adobe:ns:meta/",
      "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
      "http://ns.adobe.com/xap/1.0/",
      "http://purl.org/dc/elements/1.1/",
      "http://ns.adobe.com/exif/1.0/",
      "http://cipa.jp/exif/1.0/",
    ]);
  });
});

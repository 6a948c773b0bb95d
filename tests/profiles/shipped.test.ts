import { readdirSync, readFileSync } from "node:fs";
import { dirname, join, relative, resolve } from "node:path";
import { Ajv } from "ajv";
import { describe, expect, it } from "vitest";
import { TONE_CURVES, toneCode } from "../../core/simulation/toneCurve.ts";
import { STANDARD_CONTROLS } from "../../controller/cameras/standardControls.ts";
import { profileJsonSchemas } from "../../controller/profiles/jsonSchemas.ts";
import { readProfiles, SHIPPED_DIR } from "../../controller/profiles/readProfiles.ts";
import { QUIRK_IDS } from "../../core/profiles/cameraControls.ts";
import { FROM_MEMORY } from "../support/fromMemory.ts";
import { parseCameraProfile } from "../../core/profiles/parse.ts";
import { checkOverlaps } from "../../core/profiles/resolve.ts";
import { readNmea } from "../../core/sensors/nmea.ts";
import { readSensorLine } from "../../core/sensors/sensorLine.ts";
import { utcMs } from "../../core/units.ts";

const KINDS = ["camera", "release", "sensor"] as const;
const files = KINDS.flatMap((kind) =>
  readdirSync(join(SHIPPED_DIR, `${kind}s`)).map((name) => ({
    kind,
    path: join(SHIPPED_DIR, `${kind}s`, name),
  })),
);

function json(path: string): Record<string, unknown> {
  return JSON.parse(readFileSync(path, "utf8")) as Record<string, unknown>;
}

describe("the published schemas", () => {
  it.each(Object.entries(profileJsonSchemas()))(
    "are those that the program checks with: %s (else run npm run profile-schemas)",
    (name, schema) => {
      expect(json(join(SHIPPED_DIR, "schema", name))).toEqual(schema);
    },
  );

  it.each(files.map(({ kind, path }) => [relative(SHIPPED_DIR, path), kind, path] as const))(
    "accept %s, which names its schema for the editor",
    (_, kind, path) => {
      const schemaFile = join(SHIPPED_DIR, "schema", `${kind}.schema.json`);
      const accepts = new Ajv({ strict: false }).compile(json(schemaFile));
      const profile = json(path);
      expect(accepts(profile), JSON.stringify(accepts.errors)).toBe(true);
      expect(resolve(dirname(path), profile["$schema"] as string)).toBe(schemaFile);
      expect(accepts({ ...profile, colour: "black" }), "unknown fields").toBe(false);
    },
  );
});

describe("the shipped profiles", () => {
  const profiles = readProfiles(null);

  it("are read whole, and name no device twice", () => {
    expect(profiles.cameras.shipped.length).toBeGreaterThanOrEqual(5);
    expect(() => checkOverlaps(profiles.cameras.shipped)).not.toThrow();
    const kinds = profiles.sensors.map(({ profile }) => profile.kind);
    expect(new Set(kinds)).toEqual(new Set(["gnss", "lightMeter", "climate"]));
    const releases = profiles.releases.map(({ profile }) =>
      profile.kind === "serial" ? profile.line : profile.kind,
    );
    expect(new Set(releases)).toEqual(new Set(["dtr", "rts", "hid"]));
  });

  it("say of every vendor's claim that it is from memory", () => {
    for (const { file, profile } of profiles.cameras.shipped) {
      if (!profile.match || profile.id === "virtual-camera") continue;
      const claims = evidenceIn(profile);
      expect(claims.length, file).toBeGreaterThan(0);
      expect(new Set(claims), file).toEqual(new Set([FROM_MEMORY]));
    }
  });

  it("know the virtual camera's rendering as it is made", () => {
    const known = profiles.cameras.shipped.find(({ profile }) => profile.id === "virtual-camera");
    for (const { lightStops, code } of known!.profile.toneCurve!.points) {
      // The points' light is mid-grey's, 10 of the 78 / S lux-seconds that fill the sensor (ISO 12232).
      expect(code).toBeCloseTo(toneCode(TONE_CURVES.mild, (2 ** lightStops * 10) / 78), 1);
    }
  });

  it("have no quirk that code does not know, and code knows none that no profile has", () => {
    const named = profiles.cameras.shipped.flatMap(({ profile }) =>
      (profile.quirks ?? []).map(({ id }) => id),
    );
    expect(new Set(named)).toEqual(new Set(QUIRK_IDS));
  });

  it("give for the standard exactly these controls", () => {
    // Codes and units: MTP 1.1 appendices C and D, which repeat ISO 15740; the rest by judgement.
    expect(STANDARD_CONTROLS).toEqual({
      profileId: "standard",
      exposureTime: { propertyCode: 0x500d, coding: { kind: "scale", perUnit: 10_000 } },
      iso: { propertyCode: 0x500f, coding: { kind: "scale", perUnit: 1 } },
      fNumber: { propertyCode: 0x5007, coding: { kind: "scale", perUnit: 100 } },
      focalLengthMm: { propertyCode: 0x5008, coding: { kind: "scale", perUnit: 100 } },
      battery: { propertyCode: 0x5001 },
      program: { propertyCode: 0x500e, manualCode: 1 },
      focus: { propertyCode: 0x500a, manualCode: 1 },
      noiseReduction: null,
      imageFormat: null,
      dateTime: { propertyCode: 0x5011 },
      connectSteps: [],
      bulb: { openOperation: 0x101c, closeOperation: 0x1018, closeNamesOpening: true },
      timedSteps: null,
      timedBelowSeconds: 2,
      bulbExcessMs: null,
      busyPollMs: 5,
      busyMsMax: 10_000,
      fileGraceMs: 4_000,
      settleMs: 0,
      wholeJpegBytesMax: 6 * 1024 * 1024,
      previewOrder: ["moderateJpeg", "thumbnail", "anyJpeg", "embeddedJpeg"],
      objectAddedEvents: [],
      captureDoneEvents: [],
      eventPoll: null,
      quirks: [],
      toneCurve: null,
    });
  });
});

function evidenceIn(value: unknown): readonly string[] {
  if (typeof value !== "object" || value === null) return [];
  return Object.entries(value).flatMap(([key, inner]) =>
    key === "evidence" ? [inner as string] : evidenceIn(inner),
  );
}

describe("the guide beside the profiles", () => {
  it("shows lines that the program understands, and a profile that it accepts", () => {
    const guide = readFileSync(join(SHIPPED_DIR, "README.md"), "utf8");
    const blocks = [...guide.matchAll(/```(\w*)\n([^]*?)\s*```/g)].map(([, , text]) => text!);
    const nmea = blocks.find((text) => text.startsWith("$"))!;
    expect(readNmea(nmea, utcMs(0))).toMatchObject({ kind: "fix" });
    for (const word of ["light", "climate"]) {
      const line = blocks.find((text) => text.startsWith(word))!;
      expect(readSensorLine(line), line).toMatchObject({ kind: word });
    }
    const example = JSON.parse(blocks.find((text) => text.trim().startsWith("{"))!) as object;
    expect(parseCameraProfile(example, "my-body.json").id).toBe("my-body");
  });
});

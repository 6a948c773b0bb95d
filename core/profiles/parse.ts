import * as v from "valibot";
import { NightError } from "../errors.ts";
import { cameraProfileSchema, type CameraProfile } from "./cameraProfile.ts";
import { isHarmless, operationsIn } from "./harmlessOperations.ts";
import { releaseProfileSchema, type ReleaseProfile } from "./releaseProfile.ts";
import { sensorProfileSchema, type SensorProfile } from "./sensorProfile.ts";

/** A profile with the file it came from, for messages. */
export type FromFile<P> = { readonly file: string; readonly profile: P };

/** @throws NightError `profile.invalid` with the file, the JSON pointer and the reason. */
export function parseCameraProfile(unknown: unknown, file: string): CameraProfile {
  const profile = parse(cameraProfileSchema, unknown, file);
  checkName(profile, file);
  checkLadders(profile, file);
  checkToneCurve(profile, file);
  checkOperations(profile, file);
  return profile;
}

/** @throws NightError `profile.invalid`, as above. */
export function parseReleaseProfile(unknown: unknown, file: string): ReleaseProfile {
  const profile = parse(releaseProfileSchema, unknown, file);
  checkName(profile, file);
  if (profile.kind === "serial" && profile.halfLine === profile.line) {
    throw invalid(file, "/halfLine", "the half-press needs the other line");
  }
  return profile;
}

/** @throws NightError `profile.invalid`, as above. */
export function parseSensorProfile(unknown: unknown, file: string): SensorProfile {
  const profile = parse(sensorProfileSchema, unknown, file);
  checkName(profile, file);
  return profile;
}

/** A mistake in a profile, said so that it can be found. */
export function invalid(file: string, pointer: string, reason: string): NightError {
  const where = pointer === "" ? file : `${file} at ${pointer}`;
  return new NightError("profile.invalid", `The profile ${where} is wrong: ${reason}.`, {
    ...{ file, pointer, reason },
  });
}

function parse<S extends v.GenericSchema>(
  schema: S,
  unknown: unknown,
  file: string,
): v.InferOutput<S> {
  const parsed = v.safeParse(schema, unknown);
  if (parsed.success) return parsed.output;
  const [issue] = parsed.issues;
  throw invalid(file, pointerOf(issue), reasonOf(issue));
}

/** JSON pointer of RFC 6901. */
function pointerOf(issue: v.BaseIssue<unknown>): string {
  const keys = (issue.path ?? []).map(({ key }) => String(key));
  return keys.map((key) => `/${key.replace(/~/g, "~0").replace(/\//g, "~1")}`).join("");
}

function reasonOf(issue: v.BaseIssue<unknown>): string {
  const isUnknownKey = issue.kind === "schema" && issue.expected === "never";
  if (isUnknownKey) return "there is no such field";
  const isMissing = issue.received === "undefined" && issue.expected !== null;
  return isMissing ? "this field is missing" : issue.message.replace(/\.$/, "");
}

function checkName({ id }: { readonly id: string }, file: string): void {
  const name = file.split(/[/\\]/).at(-1)!;
  if (name !== `${id}.json`) {
    throw invalid(file, "/id", `the id "${id}" is not the file's name without .json`);
  }
}

/** Profiles are sent from person to person: none may have a camera delete, format, reset or write. */
function checkOperations(profile: CameraProfile, file: string): void {
  const harmful = operationsIn(profile).find(({ operation }) => !isHarmless(operation));
  if (!harmful) return;
  const code = `0x${harmful.operation.toString(16)}`;
  throw invalid(
    file,
    harmful.pointer,
    `operation ${code} is not one that a profile may name; it may take pictures and read and set properties, and nothing else of the standard`,
  );
}

function checkToneCurve({ toneCurve }: CameraProfile, file: string): void {
  const points = toneCurve?.points ?? [];
  for (const [index, { lightStops, code }] of points.entries()) {
    const before = points[index - 1];
    if (before && (lightStops <= before.lightStops || code <= before.code)) {
      throw invalid(file, `/toneCurve/points/${index}`, "light and code must both rise strictly");
    }
  }
}

function checkLadders(profile: CameraProfile, file: string): void {
  for (const [name, setting] of Object.entries(profile.settings ?? {})) {
    if (!setting || !("coding" in setting) || setting.coding?.kind !== "table") continue;
    const { entries } = setting.coding;
    for (const [index, entry] of entries.entries()) {
      const at = `/settings/${name}/coding/entries/${index}`;
      const before = entries[index - 1];
      if (before && entry.value <= before.value) {
        throw invalid(file, `${at}/value`, "values must rise strictly");
      }
      if (entries.some((other, place) => place < index && other.code === entry.code)) {
        throw invalid(file, `${at}/code`, "this code is there already");
      }
    }
  }
}

import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { NightError } from "../../core/errors.ts";
import { eventName } from "../../core/ptp/events.ts";
import { parseCameraProfile } from "../../core/profiles/parse.ts";
import type { CameraProfile } from "../../core/profiles/cameraProfile.ts";
import type { UtcMs } from "../../core/units.ts";
import { writeDurablySync } from "../durableWrite.ts";
import { OWN_FOLDER } from "../profiles/readProfiles.ts";
import { batteryFrames, errorsOf, spreadOf, type BenchFigures } from "./benchFigures.ts";

/** What a camera says of itself, by which its own profile knows it again. */
type CameraIdentity = { readonly model: string; readonly serialNumber: string };

/** The id of the profile that a bench check writes for this one camera. */
export function localProfileId({ model, serialNumber }: CameraIdentity): string {
  const slug = `${model} ${serialNumber}`
    .toLowerCase()
    .replaceAll(/[^a-z0-9]+/g, "-")
    .replaceAll(/^-|-$/g, "");
  return slug === "" ? "measured" : `measured-${slug}`;
}

/**
 * Writes what a bench check found as a profile of the user's own, whole or not at all. It extends
 * the profile that the camera was worked by and matches this one camera.
 *
 * @returns the file's path.
 * @throws NightError `archive.read_only` when the data folder cannot be written.
 */
export function writeLocalProfile(
  figures: BenchFigures,
  options: { readonly dataDir: string; readonly utcMs: UtcMs },
): string {
  const folder = join(options.dataDir, OWN_FOLDER, "cameras");
  const id = localProfileId(figures);
  const file = join(folder, `${id}.json`);
  const profile = localProfile(figures, options.utcMs);
  // What this program would refuse to read is a bug here, not a surprise in the night.
  parseCameraProfile(profile, file);
  try {
    mkdirSync(folder, { recursive: true });
    writeDurablySync(file, `${JSON.stringify(profile, null, 2)}\n`);
  } catch (thrown) {
    throw new NightError(
      "archive.read_only",
      `The profile cannot be written to ${folder}; choose another folder with --data.`,
      { file },
      { cause: thrown },
    );
  }
  return file;
}

function localProfile(figures: BenchFigures, utcMs: UtcMs): CameraProfile {
  const { model, serialNumber, bulbExcessMs } = figures;
  const evidence = evidenceOf(figures, utcMs);
  return {
    id: localProfileId(figures),
    label: `${figures.label}, as measured on ${dateOf(utcMs)}`.slice(0, 120),
    extends: figures.profileId,
    match: [
      {
        ...(model === "" ? {} : { model }),
        ...(serialNumber === "" ? {} : { serialNumber }),
        ptpVendorExtensionId: `0x${figures.vendorExtensionId.toString(16)}`,
      },
    ],
    ...(bulbExcessMs === null
      ? {}
      : { shutter: { bulbExcessMs: { value: rounded(bulbExcessMs, 3), evidence } } }),
    measured: measuredOf(figures, utcMs),
  };
}

function evidenceOf({ bulb, compensated }: BenchFigures, utcMs: UtcMs): string {
  const before = spreadOf(errorsOf(bulb));
  const after = spreadOf(errorsOf(compensated));
  const words = (spread: typeof before): string =>
    spread === null ? "not reported" : `${rounded(spread.median * 1000, 1)} ms`;
  return `bench check of ${dateOf(utcMs)}, ${bulb.length} bulb exposures against the files' Exif: error ${words(before)} before, ${words(after)} with this taken off`;
}

/** Plain names and numbers, for people. */
function measuredOf(figures: BenchFigures, utcMs: UtcMs): NonNullable<CameraProfile["measured"]> {
  const all = [...figures.bulb, ...figures.compensated];
  const middle = (values: readonly number[]): number | null =>
    values.length === 0 ? null : rounded(spreadOf(values)!.median, 2);
  const jitter = spreadOf(errorsOf(figures.compensated));
  const settings = figures.settings.map(({ name, values, tried }) => [
    `${name}: values, tried, read back as set`,
    `${values.length}, ${tried.length}, ${tried.filter((one) => one.asked === one.readBack).length}`,
  ]);
  const battery = batteryFrames(figures.battery);
  return {
    checkedUtc: new Date(utcMs).toISOString(),
    reachedAt: figures.place,
    firmware: figures.firmware,
    roundTripMs: rounded(figures.roundTripMs.median, 2),
    openLatencyMs: middle(all.map(({ openLatencyMs }) => openLatencyMs)),
    closeLatencyMs: middle(all.map(({ closeLatencyMs }) => closeLatencyMs)),
    compensatedErrorReachMs: jitter === null ? null : rounded((jitter.max - jitter.min) * 1000, 2),
    deadMs: middle(all.flatMap(({ deadMs }) => deadMs ?? [])),
    fileNamedMs: middle(all.flatMap(({ namedMs }) => namedMs ?? [])),
    thumbnailBytes: figures.preview?.thumbBytes ?? null,
    thumbnailMs: roundedOrNull(figures.preview?.thumbMs ?? null),
    fileBytes: figures.preview?.fileBytes ?? null,
    fileMs: roundedOrNull(figures.preview?.fileMs ?? null),
    readsPieces: figures.preview?.readsPieces ?? null,
    events: figures.events.map(({ code, count }) => `${eventName(code)} x ${count}`).join(", "),
    framesFromFullBattery: battery === null || battery.isAtLeast ? null : battery.frames,
    ...Object.fromEntries(settings),
  };
}

function dateOf(utcMs: UtcMs): string {
  return new Date(utcMs).toISOString().slice(0, 10);
}

function rounded(value: number, digits: number): number {
  return Number(value.toFixed(digits));
}

function roundedOrNull(value: number | null): number | null {
  return value === null ? null : rounded(value, 1);
}

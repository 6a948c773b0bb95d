import type {
  CameraControls,
  ControlStep,
  NumberControl,
  SetThrough,
  StateControl,
  ValueCoding,
} from "./cameraControls.ts";
import type { CameraMatch, CameraProfile, ProfileStep } from "./cameraProfile.ts";
import { PROFILE_OPERATIONS } from "./harmlessOperations.ts";
import { invalid, type FromFile } from "./parse.ts";

/** What a connected device says of itself; null: not known over this link. */
export type DeviceFacts = {
  readonly usbVendorId: number | null;
  readonly usbProductId: number | null;
  readonly ptpVendorExtensionId: number;
  readonly manufacturer: string;
  /** Operations that it announces. */
  readonly operations: readonly number[];
  readonly model: string;
  readonly serialNumber: string;
  readonly firmware: string;
};

/** What a profile need not repeat of a property that the standard declares. */
export type StandardProperty =
  | { readonly kind: "number"; readonly coding: ValueCoding }
  | { readonly kind: "state"; readonly manualCode: number };

/** By the property's code. */
export type StandardProperties = ReadonlyMap<number, StandardProperty>;

/** The facts by which a profile is chosen, as a device tells them of itself. */
export function factsOf(
  info: {
    readonly vendorExtensionId: number;
    readonly manufacturer: string;
    readonly operationsSupported: readonly number[];
    readonly model: string;
    readonly serialNumber: string;
    readonly deviceVersion: string;
  },
  usbIds: { readonly vendorId: number; readonly productId: number } | null | undefined,
): DeviceFacts {
  return {
    usbVendorId: usbIds?.vendorId ?? null,
    usbProductId: usbIds?.productId ?? null,
    ptpVendorExtensionId: info.vendorExtensionId,
    manufacturer: info.manufacturer,
    operations: info.operationsSupported,
    model: info.model,
    serialNumber: info.serialNumber,
    firmware: info.deviceVersion,
  };
}

/** Camera profiles of both kinds, of which a user's own win, and what the standard declares. */
export type CameraProfiles = {
  readonly shipped: readonly FromFile<CameraProfile>[];
  readonly own: readonly FromFile<CameraProfile>[];
  readonly standard: StandardProperties;
};

/** Id of the profile that every other one extends in the end, and that serves a camera of no other. */
export const STANDARD_PROFILE_ID = "standard";

/**
 * How this device is worked: the profile that names it most closely, the user's own before the
 * shipped, else the standard's own.
 *
 * @throws NightError `profile.invalid` when a profile that is needed is wrong.
 */
export function resolveCameraProfile(
  device: DeviceFacts,
  profiles: CameraProfiles,
): CameraControls {
  const chosen = closest(device, profiles.own) ?? closest(device, profiles.shipped);
  return controlsOf(chosen?.profile.id ?? STANDARD_PROFILE_ID, profiles);
}

function closest(
  device: DeviceFacts,
  profiles: readonly FromFile<CameraProfile>[],
): FromFile<CameraProfile> | null {
  let best: { readonly found: FromFile<CameraProfile>; readonly closeness: number } | null = null;
  for (const found of profiles) {
    for (const match of found.profile.match ?? []) {
      const closeness = closenessOf(match);
      if (!isMatch(match, device) || (best !== null && best.closeness >= closeness)) continue;
      best = { found, closeness };
    }
  }
  return best?.found ?? null;
}

function isMatch(match: CameraMatch, device: DeviceFacts): boolean {
  const { usbVendorId, usbProductId, ptpVendorExtensionId, firmware } = match;
  const { operations = [], manufacturer, model, serialNumber } = match;
  return (
    isSame(usbVendorId, device.usbVendorId) &&
    isSame(usbProductId, device.usbProductId) &&
    isSame(ptpVendorExtensionId, device.ptpVendorExtensionId) &&
    operations.every((operation) => device.operations.includes(Number(operation))) &&
    (manufacturer === undefined || manufacturer === device.manufacturer) &&
    (model === undefined || model === device.model) &&
    (serialNumber === undefined || serialNumber === device.serialNumber) &&
    (firmware === undefined || isVersionIn(device.firmware, firmware))
  );
}

function isSame(wanted: string | undefined, value: number | null): boolean {
  return wanted === undefined || Number(wanted) === value;
}

/** Weights: one device before a model before a product before a maker before an extension. */
function closenessOf(match: CameraMatch): number {
  return (
    (match.serialNumber === undefined ? 0 : 32) +
    (match.model === undefined ? 0 : 16) +
    (match.usbProductId === undefined ? 0 : 8) +
    (match.firmware === undefined ? 0 : 4) +
    (match.manufacturer === undefined ? 0 : 2) +
    (match.usbVendorId === undefined ? 0 : 2) +
    (match.operations === undefined ? 0 : 1) +
    (match.ptpVendorExtensionId === undefined ? 0 : 1)
  );
}

/** Whether a version lies in all of the ranges of `>=1.2 <3`; parts are compared as numbers. */
export function isVersionIn(version: string, ranges: string): boolean {
  const parts = numbersOf(version);
  return ranges.split(" ").every((range) => {
    const [, sign, text] = /^(>=|<=|>|<|=)(.+)$/.exec(range) ?? [];
    const order = compare(parts, numbersOf(text ?? ""));
    if (sign === ">=") return order >= 0;
    if (sign === "<=") return order <= 0;
    if (sign === ">") return order > 0;
    return sign === "<" ? order < 0 : order === 0;
  });
}

function numbersOf(version: string): readonly number[] {
  return (version.match(/\d+/g) ?? []).map(Number);
}

function compare(a: readonly number[], b: readonly number[]): number {
  for (let place = 0; place < Math.max(a.length, b.length); place += 1) {
    const difference = (a[place] ?? 0) - (b[place] ?? 0);
    if (difference !== 0) return difference;
  }
  return 0;
}

/**
 * Makes sure that no two profiles of one kind name the same devices equally closely: which of them
 * served would be chance.
 *
 * @throws NightError `profile.invalid`.
 */
export function checkOverlaps(profiles: readonly FromFile<CameraProfile>[]): void {
  const seen: { readonly key: string; readonly file: string }[] = [];
  for (const { file, profile } of profiles) {
    for (const [index, match] of (profile.match ?? []).entries()) {
      const key = keyOf(match);
      if (key === "") throw invalid(file, `/match/${index}`, "an empty match names every device");
      const other = seen.find((one) => one.key === key && one.file !== file);
      if (other) {
        throw invalid(file, `/match/${index}`, `${other.file} names the same devices`);
      }
      seen.push({ key, file });
    }
  }
}

/** Ranges of firmware are not compared: two of them for one product count as an overlap. */
function keyOf(match: CameraMatch): string {
  const { usbVendorId, usbProductId, ptpVendorExtensionId } = match;
  const { manufacturer, model, serialNumber } = match;
  const numbers = { usbVendorId, usbProductId, ptpVendorExtensionId };
  const operations = match.operations
    ?.map(Number)
    .sort((one, other) => one - other)
    .join();
  const words = Object.entries({ ...numbers, operations, manufacturer, model, serialNumber })
    .filter(([, value]) => value !== undefined)
    .map(([name, value]) => `${name}=${name in numbers ? Number(value) : value}`);
  return words.join(" ");
}

const EXTENDS_MAX = 8;

/**
 * A profile with everything that it extends, as controls.
 *
 * @throws NightError `profile.invalid` for an unknown id, a circle, or something missing.
 */
export function controlsOf(id: string, profiles: CameraProfiles): CameraControls {
  const chain: FromFile<CameraProfile>[] = [];
  for (
    let next: string | undefined = id;
    next !== undefined;
    next = chain.at(-1)!.profile.extends
  ) {
    const found = find(next, profiles);
    const file = chain.at(-1)?.file ?? `${id}.json`;
    if (!found) throw invalid(file, "/extends", `there is no profile "${next}"`);
    if (chain.length >= EXTENDS_MAX || chain.some((one) => one.profile.id === next)) {
      throw invalid(file, "/extends", `"${next}" extends itself in the end`);
    }
    chain.push(found);
  }
  const merged = chain.reduceRight<Merged>((base, { profile }) => merge(base, profile), {});
  return toControls(id, merged, { file: chain[0]!.file, standard: profiles.standard });
}

function find(id: string, { own, shipped }: CameraProfiles): FromFile<CameraProfile> | undefined {
  return [...own, ...shipped].find(({ profile }) => profile.id === id);
}

type Merged = Partial<
  Pick<
    CameraProfile,
    "settings" | "connect" | "shutter" | "previews" | "events" | "timing" | "quirks" | "toneCurve"
  >
>;

/** Sections are merged field by field; a field that is named is replaced whole. */
function merge(base: Merged, over: CameraProfile): Merged {
  return {
    ...base,
    ...named(over, "connect", "previews", "quirks", "toneCurve"),
    settings: { ...base.settings, ...over.settings },
    shutter: { ...base.shutter, ...over.shutter },
    ...(base.events || over.events ? { events: { ...base.events, ...over.events! } } : {}),
    ...(base.timing || over.timing ? { timing: { ...base.timing, ...over.timing! } } : {}),
  };
}

function named<K extends keyof Merged & keyof CameraProfile>(
  profile: CameraProfile,
  ...keys: readonly K[]
): Pick<Merged, K> {
  return Object.fromEntries(
    keys.filter((key) => profile[key] !== undefined).map((key) => [key, profile[key]]),
  ) as Pick<Merged, K>;
}

type Source = { readonly file: string; readonly standard: StandardProperties };

function toControls(profileId: string, merged: Merged, source: Source): CameraControls {
  const { settings = {}, shutter = {}, previews, events, timing, quirks = [] } = merged;
  const need = <T>(value: T | undefined | null, pointer: string): T => {
    if (value === undefined || value === null) {
      throw invalid(source.file, pointer, "neither this profile nor one it extends has this field");
    }
    return value;
  };
  return {
    profileId,
    exposureTime: numberControl("exposureTime", settings, source),
    iso: numberControl("iso", settings, source),
    fNumber: numberControl("fNumber", settings, source),
    battery: plain(settings.battery),
    program: stateControl("program", settings, source),
    focus: stateControl("focus", settings, source),
    noiseReduction: words(settings.noiseReduction),
    imageFormat: words(settings.imageFormat),
    focalLengthMm: numberControl("focalLengthMm", settings, source),
    dateTime: plain(settings.dateTime),
    connectSteps: (merged.connect?.steps ?? []).map(stepOf),
    bulb: bulbOf(shutter.bulb),
    timedSteps: shutter.timed ? shutter.timed.steps.map(stepOf) : null,
    timedBelowSeconds: need(shutter.timedBelowSeconds, "/shutter/timedBelowSeconds"),
    bulbExcessMs: shutter.bulbExcessMs?.value ?? null,
    busyPollMs: need(timing?.busyPollMs, "/timing/busyPollMs"),
    busyMsMax: need(timing?.busyMsMax, "/timing/busyMsMax"),
    fileGraceMs: need(timing?.fileGraceMs, "/timing/fileGraceMs"),
    settleMs: need(timing?.settleMs, "/timing/settleMs"),
    wholeJpegBytesMax: need(previews?.wholeJpegBytesMax, "/previews/wholeJpegBytesMax"),
    previewOrder: need(previews?.order, "/previews/order"),
    objectAddedEvents: (events?.objectAdded ?? []).map(Number),
    captureDoneEvents: (events?.captureDone ?? []).map(Number),
    eventPoll: events?.poll ? { ...events.poll, operation: Number(events.poll.operation) } : null,
    quirks: quirks.map((quirk) => quirk.id),
    toneCurve: merged.toneCurve?.points ?? null,
  };
}

type Settings = NonNullable<CameraProfile["settings"]>;

function numberControl(
  name: "exposureTime" | "iso" | "fNumber" | "focalLengthMm",
  settings: Settings,
  { file, standard }: Source,
): NumberControl | null {
  const setting = settings[name];
  if (!setting) return null;
  const propertyCode = Number(setting.property);
  const declared = standard.get(propertyCode);
  const coding = setting.coding ?? (declared?.kind === "number" ? declared.coding : undefined);
  if (coding === undefined) {
    throw invalid(file, `/settings/${name}/coding`, "the standard does not say how it is coded");
  }
  return {
    ...{ propertyCode, coding },
    ...(setting.setThrough ? { setThrough: through(setting.setThrough) } : {}),
    ...(setting.assumed ? { assumed: setting.assumed } : {}),
  };
}

function plain(setting: Settings["battery"]): { readonly propertyCode: number } | null {
  return setting ? { propertyCode: Number(setting.property) } : null;
}

function stateControl(
  name: "program" | "focus",
  settings: Settings,
  { file, standard }: Source,
): StateControl | null {
  const setting = settings[name];
  if (!setting) return null;
  const propertyCode = Number(setting.property);
  const declared = standard.get(propertyCode);
  const standards = declared?.kind === "state" ? [declared.manualCode] : [];
  const [manualCode, ...others] = setting.manual ?? standards;
  if (manualCode === undefined) {
    throw invalid(file, `/settings/${name}/manual`, "the standard has no code for it");
  }
  const control = { propertyCode, manualCode };
  return others.length > 0 ? { ...control, alsoManual: others } : control;
}

function words<C>(
  setting: { readonly property: string; readonly codes: readonly C[] } | null | undefined,
): { readonly propertyCode: number; readonly codes: readonly C[] } | null {
  return setting ? { propertyCode: Number(setting.property), codes: setting.codes } : null;
}

function bulbOf(bulb: NonNullable<CameraProfile["shutter"]>["bulb"]): CameraControls["bulb"] {
  if (!bulb) return null;
  if (bulb.kind === "operations") {
    return {
      openOperation: Number(bulb.open),
      closeOperation: Number(bulb.close),
      closeNamesOpening: bulb.closeNamesOpening,
    };
  }
  const [openSteps, closeSteps] = [bulb.open.map(stepOf), bulb.close.map(stepOf)];
  return {
    openOperation: lastOperation(openSteps),
    closeOperation: lastOperation(closeSteps),
    closeNamesOpening: false,
    openSteps,
    closeSteps,
  };
}

function lastOperation(steps: readonly ControlStep[]): number {
  const last = steps.findLast((step) => step.kind !== "pause");
  if (last?.kind === "operation") return last.operation;
  return last?.setThrough?.operation ?? PROFILE_OPERATIONS.SetDevicePropValue;
}

function stepOf(step: ProfileStep): ControlStep {
  switch (step.kind) {
    case "operation":
      return {
        kind: "operation",
        operation: Number(step.operation),
        parameters: step.parameters.map((parameter) =>
          parameter === "openingTransaction" ? "openingTransaction" : Number(parameter),
        ),
      };
    case "property":
      return {
        kind: "property",
        propertyCode: Number(step.property),
        dataType: step.dataType,
        value: step.value,
        ...(step.setThrough ? { setThrough: through(step.setThrough) } : {}),
      };
    case "pause":
      return step;
  }
}

function through({
  operation,
  layout,
}: {
  operation: string;
  layout: "value" | "record";
}): SetThrough {
  return { operation: Number(operation), layout };
}

import type { PlanQuery } from "../../../core/api/planMessages.ts";
import { resolveKit, type Kit, type KitInput, type SensorClass } from "../../../core/plan/kit.ts";
import type { ReportedKit } from "../../../core/plan/kitFromCamera.ts";
import { turnBetweenDeg } from "../../../core/sky/angles.ts";
import { planWords } from "../../../core/words/planWords.ts";
import { typedNumber } from "./typedNumber.ts";

/** A plan's query as it stands in the fields: texts, whatever the photographer has typed. */
export type PlanDraft = {
  readonly placeName: string;
  readonly latitude: string;
  readonly longitude: string;
  readonly elevation: string;
  readonly date: string;
  readonly temperature: string;
  readonly wind: string;
  readonly humidity: string;
};

export type KitDraft = {
  readonly name: string;
  readonly sensorClass: SensorClass;
  readonly pixelPitch: string;
  readonly focalLength: string;
  readonly fNumber: string;
  readonly iso: string;
  readonly battery: string;
  readonly card: string;
};

/** A winter night, as long as nobody says otherwise. */
export const USUAL_WEATHER = { temperature: "-10", wind: "10", humidity: "" } as const;

/** A place in the fields, to some ten metres. */
export function draftOfPlace(
  place: {
    readonly latitudeDeg: number;
    readonly longitudeDeg: number;
    readonly elevationM: number | null;
  },
  placeName: string,
): Pick<PlanDraft, "placeName" | "latitude" | "longitude" | "elevation"> {
  const degrees = (value: number): string => String(Number(value.toFixed(4)));
  return {
    placeName,
    latitude: degrees(place.latitudeDeg),
    longitude: degrees(place.longitudeDeg),
    elevation: String(Math.round(place.elevationM ?? 0)),
  };
}

export const USUAL_KIT_DRAFT: KitDraft = {
  name: planWords.kit.usual,
  sensorClass: "fullFrame",
  pixelPitch: "6",
  focalLength: "16",
  fNumber: "2.8",
  iso: "6400",
  battery: "16",
  card: "128",
};

/** A remembered kit in the fields. */
export function draftOfKit(kit: Kit): KitDraft {
  return {
    name: kit.name,
    sensorClass: kit.sensorClass,
    pixelPitch: text(kit.pixelPitchUm),
    focalLength: text(kit.focalLengthMm),
    fNumber: text(kit.fNumberWidest),
    iso: text(kit.isoComfortMax),
    battery: text(kit.batteryWh),
    card: text(kit.cardBytes / 1e9),
  };
}

/** The field in which each part of a kit stands that a camera may tell. */
const REPORTED_FIELDS: Partial<Record<keyof KitInput, Exclude<keyof KitDraft, "name">>> = {
  sensorClass: "sensorClass",
  imageWidthPx: "pixelPitch",
  pixelPitchUm: "pixelPitch",
  focalLengthMm: "focalLength",
  fNumberWidest: "fNumber",
  cardBytes: "card",
};

/** What the camera tells, as a change of the fields. */
export function draftOfReported({ input, reported }: ReportedKit): Partial<KitDraft> {
  const draft = draftOfKit(resolveKit(input));
  const fields = reported.flatMap((key) => REPORTED_FIELDS[key] ?? []);
  return Object.fromEntries(fields.map((field) => [field, draft[field]]));
}

function text(value: number): string {
  return String(Number(value.toPrecision(4)));
}

/** One sentence that says which field is no number. */
type Unclear = { readonly kind: "unclear"; readonly sentence: string };
type QueryAsked = Unclear | { readonly kind: "query"; readonly query: PlanQuery };
type KitAsked = Unclear | { readonly kind: "kit"; readonly input: KitInput };

function unclear(sentence: string): Unclear {
  return { kind: "unclear", sentence };
}

/** The query of what stands in the fields; whether a number can be is judged by the daemon. */
export function queryOf(draft: PlanDraft, kit: KitDraft): QueryAsked {
  const words = planWords.form;
  const latitudeDeg = typedNumber(draft.latitude);
  const longitudeDeg = typedNumber(draft.longitude);
  if (`${draft.latitude}${draft.longitude}`.trim() === "") return unclear(words.whereAsked);
  if (latitudeDeg === null) return unclear(words.notNumber(words.latitude));
  if (longitudeDeg === null) return unclear(words.notNumber(words.longitude));
  const asked = kitInputOf(kit);
  if (asked.kind === "unclear") return asked;
  const temperatureC = typedNumber(draft.temperature);
  const elevationM = typedNumber(draft.elevation);
  const query = {
    latitudeDeg,
    longitudeDeg,
    date: draft.date.trim(),
    zone: zoneFor(longitudeDeg),
    placeName: draft.placeName.trim() || undefined,
    kit: asked.input,
    ...(elevationM === null ? {} : { elevationM }),
    ...(temperatureC === null ? {} : { temperatureC }),
    windKmh: typedNumber(draft.wind) ?? undefined,
    humidityPercent: typedNumber(draft.humidity) ?? undefined,
  };
  return { kind: "query", query };
}

/** The kit of what stands in the fields. */
export function kitInputOf(draft: KitDraft): KitAsked {
  const focalLengthMm = typedNumber(draft.focalLength);
  const fNumberWidest = typedNumber(draft.fNumber);
  if (focalLengthMm === null) {
    return unclear(planWords.form.notNumber(planWords.kit.focalLength));
  }
  if (fNumberWidest === null) {
    return unclear(planWords.form.notNumber(planWords.kit.fNumber));
  }
  const iso = typedNumber(draft.iso);
  const battery = typedNumber(draft.battery);
  const card = typedNumber(draft.card);
  const input = {
    name: draft.name,
    sensorClass: draft.sensorClass,
    pixelPitchUm: typedNumber(draft.pixelPitch) ?? undefined,
    focalLengthMm,
    fNumberWidest,
    ...(iso === null ? {} : { isoComfortMax: iso }),
    ...(battery === null ? {} : { batteryWh: battery }),
    ...(card === null ? {} : { cardBytes: card * 1e9 }),
  };
  return { kind: "kit", input };
}

/** A day earlier or later; what is no date stays as it was typed. */
export function shiftedDate(date: string, days: number): string {
  const at = Date.parse(`${date.trim()}T00:00:00Z`);
  return Number.isNaN(at) ? date : new Date(at + days * 86_400_000).toISOString().slice(0, 10);
}

/** Farther from the place's solar time no civil clock of the place stands, hours. */
const CLOCK_HOURS_MAX = 4;

/**
 * The laptop's own zone where its clock can be the place's, whatever day it has there; `undefined` for a
 * place elsewhere, whose evenings are counted by longitude.
 */
export function zoneFor(
  longitudeDeg: number,
  laptop: { readonly zone: string; readonly longitudeByClockDeg: number } = {
    zone: new Intl.DateTimeFormat().resolvedOptions().timeZone,
    longitudeByClockDeg: longitudeByClockDeg(Date.now()),
  },
): string | undefined {
  const awayDeg = Math.abs(turnBetweenDeg(longitudeDeg, laptop.longitudeByClockDeg));
  return awayDeg / 15 <= CLOCK_HOURS_MAX ? laptop.zone : undefined;
}

/** Roughly where a laptop is by its own clock: enough to tell whose evening it is. */
export function longitudeByClockDeg(utcMs: number): number {
  return -new Date(utcMs).getTimezoneOffset() / 4;
}

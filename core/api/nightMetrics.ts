import type { UtcMs } from "../units.ts";
import type { DaemonView, WatchView } from "./messages.ts";

/** What a watchdog or a dashboard wants to know first. */
type HealthView = {
  /** Nothing is wrong with the night, as far as is known. */
  readonly isWell: boolean;
  /** The state sentence. */
  readonly sentence: string;
  /** Seconds since the newest frame of any camera opened; null: there is none. */
  readonly newestFrameAgeSeconds: number | null;
  readonly version: string;
};

export function healthOf(view: DaemonView): HealthView {
  const ages = view.watches.flatMap((watch) => frameAgeSeconds(watch, view.nowUtcMs) ?? []);
  return {
    isWell: view.watches.length > 0 && view.watches.every(({ allIsWell }) => allIsWell),
    sentence: view.state.sentence,
    newestFrameAgeSeconds: ages.length === 0 ? null : Math.min(...ages),
    version: view.version,
  };
}

type Sample = { readonly labels: Readonly<Record<string, string>>; readonly value: number };
type Family = {
  readonly name: string;
  readonly kind: "gauge" | "counter";
  readonly help: string;
  readonly samples: readonly Sample[];
};

/**
 * The state of the night as numbers, in the text format of Prometheus.
 *
 * Units are the base units of that format: seconds, bytes, ratios from 0 to 1. What is not known has
 * no sample. Source: "Exposition formats", text format 0.0.4, and "Metric and label naming",
 * prometheus.io/docs.
 */
export function metricsText(view: DaemonView): string {
  return [...programFamilies(view), ...watchFamilies(view)]
    .filter(({ samples }) => samples.length > 0)
    .map(familyText)
    .join("");
}

function programFamilies({ version, state, watches, freeDiskBytes }: DaemonView): Family[] {
  const gauge = (name: string, help: string, samples: readonly Sample[]): Family => ({
    ...{ name, help, samples, kind: "gauge" },
  });
  return [
    gauge("info", "The program that runs.", [{ labels: { version }, value: 1 }]),
    gauge("state", "The state of the night, by its kind.", [
      { labels: { kind: state.kind }, value: 1 },
    ]),
    gauge("watches", "Cameras of this night.", [{ labels: {}, value: watches.length }]),
    gauge(
      "disk_free_bytes",
      "Room on this computer's disk.",
      freeDiskBytes === null ? [] : [{ labels: {}, value: freeDiskBytes }],
    ),
  ];
}

function watchFamilies({ watches, nowUtcMs }: DaemonView): Family[] {
  const each = (
    kind: Family["kind"],
    name: string,
    help: string,
    valueOf: (watch: WatchView) => number | null | undefined,
  ): Family => ({
    ...{ name, kind, help },
    samples: watches.flatMap((watch) => {
      const value = valueOf(watch);
      return value === null || value === undefined || !Number.isFinite(value)
        ? []
        : [{ labels: { camera: watch.cameraId }, value }];
    }),
  });
  return [
    each("gauge", "watch_well", "1 while all is well with a watch.", (one) => +one.allIsWell),
    each("gauge", "exposing", "1 while the shutter is open.", (one) => +one.isExposing),
    {
      name: "watch_phase",
      kind: "gauge",
      help: "What a watch is doing.",
      samples: watches.map(({ cameraId, phase }) => ({
        labels: { camera: cameraId, phase },
        value: 1,
      })),
    },
    each("counter", "frames_total", "Frames of this night.", (one) => one.frameCount),
    each("counter", "surges_total", "Surges of this night.", (one) => one.surges.length),
    each("counter", "gaps_total", "Gaps of this night.", (one) => one.gaps.length),
    each("gauge", "frame_age_seconds", "Since the newest frame opened.", (one) =>
      frameAgeSeconds(one, nowUtcMs),
    ),
    each("gauge", "exposure_seconds", "Exposure time of the newest frame.", ({ newest }) =>
      newest === null ? null : (newest.happened ?? newest.ordered).exposureSeconds,
    ),
    each("gauge", "iso", "ISO of the newest frame.", ({ newest }) =>
      newest === null ? null : (newest.happened ?? newest.ordered).iso,
    ),
    each("gauge", "error_stops", "Newest frame's sky less its target, stops.", ({ newest }) =>
      newest?.reading ? newest.reading.skyStops - newest.targetStops : null,
    ),
    each(
      "gauge",
      "sky_luminance_candelas_per_square_metre",
      "Luminance of the sky in the newest frame.",
      ({ newest }) => newest?.reading?.skyLuminanceCdM2,
    ),
    each("gauge", "battery_ratio", "The camera's battery, 0 to 1.", ({ batteryPercent }) =>
      batteryPercent === null ? null : batteryPercent / 100,
    ),
    each("gauge", "card_free_bytes", "Room on the camera's card.", (one) => one.cardFreeBytes),
  ];
}

function frameAgeSeconds({ newest }: WatchView, nowUtcMs: UtcMs): number | null {
  const openedUtcMs = newest?.openedUtcMs ?? null;
  return openedUtcMs === null ? null : Math.max(0, nowUtcMs - openedUtcMs) / 1000;
}

function familyText({ name, kind, help, samples }: Family): string {
  const full = `nattvakt_${name}`;
  const lines = samples.map(({ labels, value }) => {
    const pairs = Object.entries(labels).map(([key, text]) => `${key}="${escaped(text)}"`);
    return `${full}${pairs.length > 0 ? `{${pairs.join(",")}}` : ""} ${value}`;
  });
  return [`# HELP ${full} ${help}`, `# TYPE ${full} ${kind}`, ...lines, ""].join("\n");
}

/** Backslash, quote and line feed are escaped in a label's value. */
function escaped(text: string): string {
  return text.replaceAll("\\", "\\\\").replaceAll('"', '\\"').replaceAll("\n", "\\n");
}

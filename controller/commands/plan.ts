import { writeFileSync } from "node:fs";
import { join } from "node:path";

import type { PlanQuery } from "../../core/api/planMessages.ts";
import { NightError } from "../../core/errors.ts";
import type { NightPlan } from "../../core/plan/plan.ts";
import type { TonightActivity } from "../../core/rehearsal/tonightAurora.ts";
import type { TonightCloudiness } from "../../core/rehearsal/tonightClouds.ts";
import { eveningDate } from "../../core/sky/evening.ts";
import { runCommand, type OptionValues } from "../commandLine.ts";
import { commandPlace } from "../planning/commandPlace.ts";
import { KpFeed } from "../planning/kpFeed.ts";
import { PLAN_COMMAND } from "../planning/planCommand.ts";

type Options = OptionValues<(typeof PLAN_COMMAND)["options"]>;

await runCommand(PLAN_COMMAND, async (options) => {
  const nowUtcMs = (): number => Date.now();
  const kpFeed = new KpFeed({
    url: options["kp-feed"],
    path: join(options.data, "kp.json"),
    nowUtcMs,
  });
  kpFeed.refresh();
  try {
    // The feed may answer while the ephemerides load; nothing waits for it.
    const { PlanService, auroraNowOf, calendarOf } = await import("../planning/planService.ts");
    const { planText, timeWriter } = await import("../planning/planText.ts");
    const service = new PlanService({ dataFolder: options.data, kpFeedUrl: null, nowUtcMs });
    const where = await commandPlace(options, service.places());
    const writer = timeWriter(options.zone);
    const query = queryOf(options, where, nowUtcMs());
    const { plan } = service.plan(query);
    if (options["remember-place"]) service.putPlace(placeToRemember(options, query));
    if (options["remember-kit"] !== null) service.putKit(kitToRemember(options));
    if (options.ics !== null) writeCalendar(options.ics, calendarOf(plan, nowUtcMs()));
    const tonight = options.rehearse === null ? null : await rehearse(options, plan);
    await new Promise(setImmediate);
    const view = kpFeed.view();
    const auroraNow = auroraNowOf(plan, view);
    if (options.json) {
      const answer = { ...plan, kpFeed: view, auroraNow, ...(tonight === null ? {} : { tonight }) };
      process.stdout.write(`${JSON.stringify(answer, null, 2)}\n`);
      return;
    }
    process.stdout.write(planText({ plan, kpFeed: view, auroraNow }, writer));
    if (tonight !== null) {
      const { tonightText } = await import("../planning/planText.ts");
      process.stdout.write(`\n${tonightText(tonight, writer)}`);
    }
  } finally {
    kpFeed.close();
  }
});

function queryOf(
  options: Options,
  where: Awaited<ReturnType<typeof commandPlace>>,
  nowUtcMs: number,
): PlanQuery {
  return {
    ...where,
    date:
      options.date ??
      eveningDate(nowUtcMs, { longitudeDeg: where.longitudeDeg, zone: options.zone }),
    zone: options.zone ?? undefined,
    ...kitOf(options),
    ...(options["elevation-m"] === null ? {} : { elevationM: options["elevation-m"] }),
    ...(options["temperature-c"] === null ? {} : { temperatureC: options["temperature-c"] }),
    windKmh: options["wind-kmh"] ?? undefined,
    humidityPercent: options.humidity ?? undefined,
    framesPerSecond: options.fps,
    ...(options["dark-sky-mag"] === null ? {} : { darkZenithMag: options["dark-sky-mag"] }),
  };
}

function kitOf(options: Options): Pick<PlanQuery, "kit" | "kitName"> {
  if (options.kit !== null) return { kitName: options.kit };
  return { kit: kitToRemember(options) };
}

function kitToRemember(options: Options) {
  const width = options["image-width"];
  return {
    name: options["remember-kit"] ?? "kit from the command line",
    sensorClass: options.sensor as "fullFrame",
    pixelPitchUm: options["pixel-pitch-um"] ?? undefined,
    imageWidthPx: width ?? undefined,
    focalLengthMm: options["focal-length-mm"],
    fNumberWidest: options["f-number"],
    isoComfortMax: options["iso-max"],
    batteryWh: options["battery-wh"],
    cameraWatts: options["camera-watts"],
    cardBytes: options["card-gb"] * 1e9,
    bytesPerFrame: options["frame-mb"] === null ? undefined : options["frame-mb"] * 1e6,
    busySeconds: options["busy-seconds"],
  };
}

function placeToRemember(options: Options, query: PlanQuery) {
  if (options.place === null) throw usage("give the place a name with --place to remember it");
  return {
    name: options.place,
    latitudeDeg: query.latitudeDeg,
    longitudeDeg: query.longitudeDeg,
    elevationM: query.elevationM ?? 0,
    darkZenithMag: options["dark-sky-mag"],
  };
}

function writeCalendar(path: string, text: string): void {
  try {
    writeFileSync(path, text);
  } catch (thrown) {
    const why = thrown instanceof Error ? thrown.message : String(thrown);
    throw new NightError(
      "archive.read_only",
      `cannot write the calendar: ${why}`,
      {},
      { cause: thrown },
    );
  }
}

async function rehearse(options: Options, plan: NightPlan) {
  const { TonightRehearsals } = await import("../planning/tonightRehearsals.ts");
  const rehearsals = new TonightRehearsals();
  const weather = {
    activity: options.rehearse as TonightActivity,
    cloudiness: options.clouds as TonightCloudiness,
  };
  rehearsals.start({ plan, weather, seed: options.seed });
  try {
    return await rehearsals.finished(drawProgress);
  } finally {
    await rehearsals.close();
    if (process.stderr.isTTY) process.stderr.write("\r\u001b[K");
  }
}

function drawProgress(doneCount: number): void {
  if (!process.stderr.isTTY) return;
  const filled = Math.round(doneCount / 4);
  const bar = "█".repeat(filled) + "░".repeat(25 - filled);
  process.stderr.write(`\rrehearsing ${bar} ${doneCount} of 100 skies`);
}

function usage(sentence: string): NightError {
  return new NightError("usage.invalid", sentence);
}

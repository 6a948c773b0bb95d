import { join } from "node:path";

import {
  checklistQuerySchema,
  parseMessage,
  planQuerySchema,
  rememberedPlaceSchema,
  tonightQuerySchema,
  type AuroraNow,
  type KpFeedView,
  type NamedKpFeed,
  type PlanAnswer,
  type PlanQuery,
  type RememberedKit,
  type RememberedPlace,
  type SensedPlace,
  type TonightView,
} from "../../core/api/planMessages.ts";
import { NightError } from "../../core/errors.ts";
import { iCalendarOf } from "../../core/plan/iCalendar.ts";
import { checklistOf, type Checklist } from "../../core/plan/checklist.ts";
import {
  DEFAULT_KIT_INPUT,
  kitInputSchema,
  resolveKit,
  type Kit,
  type KitInput,
} from "../../core/plan/kit.ts";
import type { TonightResult } from "../../core/rehearsal/tonightResult.ts";
import type { FramingReading } from "../../core/photometry/framing/framing.ts";
import {
  kitFromCamera,
  type CameraKitFacts,
  type ReportedKit,
} from "../../core/plan/kitFromCamera.ts";
import { planNight, type NightPlan, type PlanRequest } from "../../core/plan/plan.ts";
import { planEvents } from "../../core/plan/calendar.ts";
import { auroraNowSentence } from "../../core/plan/planSentences.ts";
import { auroraView } from "../../core/sky/auroraView.ts";
import { isoOf } from "../../core/sky/calendarDate.ts";
import { placeOf } from "../../core/sky/place.ts";
import { readFramingOf } from "./frameFraming.ts";
import { frameKitOf } from "../frameKit.ts";
import { KpFeed, rememberedFeed, rememberFeed } from "./kpFeed.ts";
import { RememberedFile } from "./rememberedFile.ts";
import { TonightRehearsals } from "./tonightRehearsals.ts";

/**
 * Everything the part "Before dark" asks of the daemon: plans, kits, places, the checklist, the
 * rehearsal of tonight. Every answer is plain JSON; every value from outside is checked here.
 */
export class PlanService {
  readonly #kits: RememberedFile<KitInput>;
  readonly #places: RememberedFile<RememberedPlace>;
  #kpFeed: KpFeed;
  readonly #dataFolder: string;
  readonly #tonight = new TonightRehearsals();
  readonly #nowUtcMs: () => number;
  readonly #sensedPlace: () => SensedPlace | null;

  /**
   * @param dataFolder  Kits and places are remembered in it.
   * @param kpFeedUrl  Public Kp feed named by the user; `null`: the remembered one, if any.
   * @param sensedPlace  Where a GNSS receiver stands; left out: there is none.
   */
  constructor(options: {
    readonly dataFolder: string;
    readonly kpFeedUrl: string | null;
    readonly nowUtcMs: () => number;
    readonly sensedPlace?: () => SensedPlace | null;
  }) {
    const { dataFolder, kpFeedUrl, nowUtcMs, sensedPlace = () => null } = options;
    this.#sensedPlace = sensedPlace;
    this.#nowUtcMs = nowUtcMs;
    this.#kits = new RememberedFile(join(dataFolder, "kits.json"), kitInputOf);
    this.#places = new RememberedFile(join(dataFolder, "places.json"), rememberedPlaceOf);
    this.#dataFolder = dataFolder;
    this.#kpFeed = this.#feedAt(kpFeedUrl ?? rememberedFeed(dataFolder));
  }

  /**
   * The plan of a night.
   *
   * @throws NightError `settings.invalid` with one sentence for a value that cannot be.
   */
  plan(query: unknown): PlanAnswer {
    this.#kpFeed.refresh();
    const plan = this.#planOf(parseMessage(planQuerySchema, query));
    const kpFeed = this.#kpFeed.view();
    return { plan, kpFeed, auroraNow: auroraNowOf(plan, kpFeed) };
  }

  /** The same night as a calendar file in iCalendar. */
  calendar(query: unknown): string {
    return calendarOf(this.#planOf(parseMessage(planQuerySchema, query)), this.#nowUtcMs());
  }

  kpFeed(): NamedKpFeed {
    this.#kpFeed.refresh();
    return { ...this.#kpFeed.view(), url: this.#kpFeed.url };
  }

  /**
   * Names the Kp feed and remembers it; `null` forgets it.
   *
   * @throws NightError `settings.invalid` for an address that is none.
   */
  nameKpFeed(url: string | null): NamedKpFeed {
    const feed = this.#feedAt(url);
    rememberFeed(this.#dataFolder, url);
    this.#kpFeed.close();
    this.#kpFeed = feed;
    return this.kpFeed();
  }

  /** All remembered kits by name. */
  kits(): readonly RememberedKit[] {
    return this.#kits.list().map((input) => ({ input, kit: resolveKit(input) }));
  }

  /** Remembers a kit; one of the same name is replaced. */
  putKit(value: unknown): RememberedKit {
    const input = kitInputOf(value);
    this.#kits.put(input);
    return { input, kit: resolveKit(input) };
  }

  /** @throws NightError `settings.invalid` when there is no such kit. */
  removeKit(name: string): void {
    if (!this.#kits.remove(name)) throw missing("kit", name);
  }

  /** All remembered places by name. */
  places(): readonly RememberedPlace[] {
    return this.#places.list();
  }

  /** Where a GNSS receiver stands; `null`: there is none, or it has no fix yet. */
  sensedPlace(): SensedPlace | null {
    return this.#sensedPlace();
  }

  /** Remembers a place; one of the same name is replaced. */
  putPlace(value: unknown): RememberedPlace {
    const place = rememberedPlaceOf(value);
    this.#places.put(place);
    return place;
  }

  /** @throws NightError `settings.invalid` when there is no such place. */
  removePlace(name: string): void {
    if (!this.#places.remove(name)) throw missing("place", name);
  }

  /** The checklist for what a camera tells and what was ticked by hand. */
  checklist(query: unknown): Checklist {
    return checklistOf(parseMessage(checklistQuerySchema, query));
  }

  /**
   * What a test frame shows of its framing.
   *
   * @param jpeg  The frame, or its preview.
   * @throws NightError `image.unreadable` for something that is no picture.
   */
  framing(jpeg: Uint8Array): Promise<FramingReading> {
    return readFramingOf(jpeg);
  }

  /**
   * A kit with what a connected camera says of itself in place of what was typed.
   *
   * @param frame  One of its frames, whose Exif tells more; `null`: none was taken yet.
   */
  async kitFromCamera(
    kit: unknown,
    facts: CameraKitFacts,
    frame: Uint8Array | null = null,
  ): Promise<ReportedKit> {
    const input = kitInputOf(kit);
    return kitFromCamera(input, facts, frame === null ? null : await frameKitOf(frame));
  }

  /**
   * Starts a rehearsal of tonight in a thread of its own; one that still runs is given up.
   *
   * @throws NightError `settings.invalid` when the night has no watch.
   */
  startTonight(query: unknown): TonightView {
    const { activity, cloudiness, seed, ...rest } = parseMessage(tonightQuerySchema, query);
    const weather = { activity, cloudiness };
    return this.#tonight.start({ plan: this.#planOf(rest), weather, seed: seed ?? 1 });
  }

  tonight(): TonightView {
    return this.#tonight.view();
  }

  /** Calls the listener on every change of the rehearsal; returns the way to stop listening. */
  onTonight(listener: (view: TonightView) => void): () => void {
    return this.#tonight.onChange(listener);
  }

  /** The result of the running rehearsal; rejects with its sentence when it fails. */
  tonightFinished(): Promise<TonightResult> {
    return this.#tonight.finished();
  }

  /** Ends what still runs in the background. */
  async close(): Promise<void> {
    this.#kpFeed.close();
    await this.#tonight.close();
  }

  #feedAt(url: string | null): KpFeed {
    return new KpFeed({ url, path: join(this.#dataFolder, "kp.json"), nowUtcMs: this.#nowUtcMs });
  }

  /**
   * What a query asks to be planned, with every name looked up: the night can keep it.
   *
   * @throws NightError `settings.invalid` with one sentence for a value that cannot be.
   */
  planRequest(query: unknown): PlanRequest {
    return this.#requestOf(parseMessage(planQuerySchema, query));
  }

  #planOf(query: PlanQuery): NightPlan {
    return planNight(this.#requestOf(query));
  }

  #requestOf(query: PlanQuery): PlanRequest {
    const place = this.#places.find(query.placeName ?? "");
    const darkZenithMag = query.darkZenithMag ?? place?.darkZenithMag ?? null;
    return {
      latitudeDeg: query.latitudeDeg,
      longitudeDeg: query.longitudeDeg,
      dateIso: query.date,
      kit: this.#kitOf(query),
      ...given("zone", query.zone),
      ...given("placeName", query.placeName),
      ...given("elevationM", query.elevationM),
      ...given("temperatureC", query.temperatureC),
      ...given("windKmh", query.windKmh),
      ...given("humidityPercent", query.humidityPercent),
      ...given("framesPerSecond", query.framesPerSecond),
      ...(darkZenithMag === null ? {} : { darkZenithMag }),
    };
  }

  #kitOf(query: PlanQuery): Kit {
    if (query.kit !== undefined) return resolveKit(query.kit);
    if (query.kitName === undefined) return resolveKit(DEFAULT_KIT_INPUT);
    const kept = this.#kits.find(query.kitName);
    if (kept === null) throw missing("kit", query.kitName);
    return resolveKit(kept);
  }
}

/** What a feed's Kp means for a plan's place; `null` while there is none. */
export function auroraNowOf(plan: NightPlan, { kp }: KpFeedView): AuroraNow | null {
  if (kp === null) return null;
  const view = auroraView(plan.geomagneticLatitudeDeg, kp);
  return { ...view, sentence: auroraNowSentence(view) };
}

/** A plan's calendar file, written at a moment. */
export function calendarOf(plan: NightPlan, nowUtcMs: number): string {
  return iCalendarOf({
    name: `Aurora watch ${plan.date}${plan.placeName === null ? "" : `, ${plan.placeName}`}`,
    events: planEvents(plan),
    writtenAt: isoOf(nowUtcMs),
  });
}

/** @throws NightError `settings.invalid` for a kit that cannot be. */
function kitInputOf(value: unknown): KitInput {
  const input = parseMessage(kitInputSchema, value);
  const { name } = resolveKit(input);
  return { ...input, name };
}

/** @throws NightError `settings.invalid` for a place off the globe or without a name. */
function rememberedPlaceOf(value: unknown): RememberedPlace {
  const place = parseMessage(rememberedPlaceSchema, value);
  const name = place.name.trim();
  if (name === "") throw new NightError("settings.invalid", "Give the place a name.");
  return { ...place, ...placeOf(place), name };
}

function missing(what: string, name: string): NightError {
  return new NightError("settings.invalid", `There is no ${what} called "${name}".`);
}

function given<K extends string, T>(key: K, value: T | undefined): Partial<Record<K, T>> {
  return value === undefined ? {} : ({ [key]: value } as Record<K, T>);
}

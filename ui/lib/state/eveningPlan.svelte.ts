import type { DaemonView, WatchView } from "../../../core/api/messages.ts";
import type {
  NamedKpFeed,
  PlanAnswer,
  PlanQuery,
  RememberedKit,
  RememberedPlace,
  SensedPlace,
} from "../../../core/api/planMessages.ts";
import { changeSettings } from "../api/client.ts";
import { sentenceOf } from "../api/sentence.ts";
import * as api from "../api/planClient.ts";
import {
  draftOfPlace,
  draftOfReported,
  kitInputOf,
  longitudeByClockDeg,
  queryOf,
  zoneFor,
  USUAL_KIT_DRAFT,
  USUAL_WEATHER,
  type KitDraft,
  type PlanDraft,
} from "../plan/planDraft.ts";
import { eveningDate } from "../../../core/sky/evening.ts";
import { isPlaced } from "../../../core/sky/place.ts";
import { planWords } from "../../../core/words/planWords.ts";
import { store, stored } from "./stored.ts";

const DRAFT_KEY = "nattvakt.plan";
const KIT_KEY = "nattvakt.kit";

/** a place that nobody has given is asked for, never assumed. */
const UNKNOWN_PLACE = { placeName: "", latitude: "", longitude: "", elevation: "" };

/** What stands in the fields of place, weather and kit, and the plan that the daemon makes of it. */
export class EveningPlan {
  /** null: the daemon has not said yet what night it is. */
  draft = $state.raw<PlanDraft | null>(null);
  kit = $state.raw<KitDraft>(stored(KIT_KEY, USUAL_KIT_DRAFT));
  answer = $state.raw<PlanAnswer | null>(null);
  /** What the answer answers. */
  query = $state.raw<PlanQuery | null>(null);
  refusal = $state<string | null>(null);
  kits = $state.raw<readonly RememberedKit[]>([]);
  places = $state.raw<readonly RememberedPlace[]>([]);
  sensedPlace = $state.raw<SensedPlace | null>(null);
  kpFeed = $state.raw<NamedKpFeed | null>(null);
  /** What the camera reported for the kit. */
  reported = $state<string | null>(null);
  /** What became of handing the limits to the watch. */
  handedOver = $state<string | null>(null);

  readonly plan = $derived(this.answer?.plan ?? null);

  /** Whether this browser has planned before: then the place needs no second look. */
  readonly hasPlannedBefore = stored<unknown>(DRAFT_KEY, null) !== null;

  /** The place that was planned last; else the open night's own; else it is asked for. */
  begin({ night, nowUtcMs }: DaemonView): void {
    if (this.draft !== null) return;
    const place = night !== null && isPlaced(night) ? night : null;
    const longitudeDeg = place?.longitudeDeg ?? longitudeByClockDeg(nowUtcMs);
    this.draft = {
      ...USUAL_WEATHER,
      ...(place === null
        ? UNKNOWN_PLACE
        : draftOfPlace({ ...place, elevationM: null }, place.placeName)),
      ...stored<Partial<PlanDraft>>(DRAFT_KEY, {}),
      date: eveningDate(nowUtcMs, { longitudeDeg, zone: zoneFor(longitudeDeg) ?? null }),
    };
  }

  change(change: Partial<PlanDraft>): void {
    if (this.draft !== null) this.draft = { ...this.draft, ...change };
  }

  changeKit(change: Partial<KitDraft>): void {
    this.kit = { ...this.kit, ...change };
  }

  /** Asks for the plan of what stands in the fields. @returns the way to pass its answer over. */
  ask(): () => void {
    let isCurrent = true;
    const { draft, kit } = this;
    const next = draft === null ? null : queryOf(draft, kit);
    if (next?.kind === "unclear") this.refusal = next.sentence;
    else if (next !== null) {
      const { query } = next;
      api
        .fetchPlan(query)
        .then((answer) => {
          if (!isCurrent) return;
          [this.answer, this.query, this.refusal, this.handedOver] = [answer, query, null, null];
          store(DRAFT_KEY, { ...draft, date: undefined });
          store(KIT_KEY, kit);
        })
        .catch((thrown: unknown) => {
          if (isCurrent) this.refusal = sentenceOf(thrown);
        });
    }
    return () => (isCurrent = false);
  }

  /** What the daemon remembers, and where its receiver stands. */
  async recall(): Promise<void> {
    await this.#try(async () => {
      [this.kits, this.places, this.kpFeed] = await Promise.all([
        api.fetchKits(),
        api.fetchPlaces(),
        api.fetchKpFeed(),
      ]);
      await this.lookForReceiver();
    });
  }

  /** A receiver may find its place at any time; without one nothing is said. */
  async lookForReceiver(): Promise<void> {
    try {
      this.sensedPlace = await api.fetchSensedPlace();
    } catch {
      this.sensedPlace = null;
    }
  }

  /** Asks again for the same plan: a feed that has just been named has answered meanwhile. */
  async askAgain(): Promise<void> {
    await this.#try(async () => {
      this.kpFeed = await api.fetchKpFeed();
      this.change({});
    });
  }

  async nameFeed(url: string | null): Promise<void> {
    await this.#try(async () => {
      this.kpFeed = await api.nameKpFeed(url);
      this.change({});
    });
  }

  async rememberPlace(): Promise<void> {
    const { query } = this;
    if (query === null) return;
    const { latitudeDeg, longitudeDeg, elevationM, placeName } = query;
    const place = { name: placeName ?? "", latitudeDeg, longitudeDeg, elevationM: elevationM ?? 0 };
    await this.#try(() => api.rememberPlace(place).then(() => this.recall()));
  }

  async forgetPlace(name: string): Promise<void> {
    await this.#try(async () => {
      this.places = await api.forgetPlace(name);
    });
  }

  async rememberKit(): Promise<void> {
    const asked = kitInputOf(this.kit);
    if (asked.kind === "unclear") this.refusal = asked.sentence;
    else await this.#try(() => api.rememberKit(asked.input).then(() => this.recall()));
  }

  async forgetKit(name: string): Promise<void> {
    await this.#try(async () => {
      this.kits = await api.forgetKit(name);
    });
  }

  /** Takes over what the camera says of sensor, lens and card. */
  async askCamera(cameraId: string): Promise<void> {
    const asked = kitInputOf(this.kit);
    if (asked.kind === "unclear") return;
    const { kit: words } = planWords;
    try {
      const change = draftOfReported(await api.askCameraForKit(cameraId, asked.input));
      this.changeKit(change);
      const labels = Object.keys(change).map(
        (key) => words.reportedOf[key as keyof typeof words.reportedOf],
      );
      this.reported =
        labels.length === 0 ? words.reportedNothing : words.reported(labels.join(", "));
    } catch (thrown) {
      this.reported = sentenceOf(thrown);
    }
  }

  /** Gives the plan's limits to a watch, and the plan itself to the night's report. */
  async handOver({ cameraId, settings }: WatchView): Promise<void> {
    const { plan, query } = this;
    if (plan === null || query === null) return;
    const { fNumberWidest, focalLengthMm, sensorWidthMm, pixelPitchUm, isoComfortMax } = plan.kit;
    try {
      await changeSettings(cameraId, {
        exposureSecondsMax: plan.maxExposureSeconds,
        isoMax: Math.max(isoComfortMax, settings.isoMin),
        fNumber: fNumberWidest,
        focalLengthMm,
        sensorWidthMm,
        pixelPitchUm,
      });
      await api.keepPlan(query);
      this.handedOver = planWords.exposure.given;
    } catch (thrown) {
      this.handedOver = sentenceOf(thrown);
    }
  }

  /** The night as a file for a calendar, and its name. */
  async calendar(): Promise<{ readonly file: Blob; readonly name: string } | null> {
    const { query } = this;
    if (query === null) return null;
    let file: Blob | null = null;
    await this.#try(async () => {
      file = await api.fetchCalendar(query);
    });
    return file === null ? null : { file, name: `watch-${query.date}.ics` };
  }

  async #try(work: () => Promise<void>): Promise<void> {
    try {
      await work();
    } catch (thrown) {
      this.refusal = sentenceOf(thrown);
    }
  }
}

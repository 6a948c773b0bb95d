import { mkdirSync, readFileSync, rmSync } from "node:fs";
import { dirname, join } from "node:path";
import type { KpFeedView } from "../../core/api/planMessages.ts";
import { NightError } from "../../core/errors.ts";
import { isoOf } from "../../core/sky/calendarDate.ts";
import { newestKp, type KpObservation } from "../../core/sky/kpObservation.ts";
import { writeDurablySync } from "../durableWrite.ts";

/** A value older than this is called stale: Kp speaks for three hours. */
const STALE_MS = 6 * 3_600_000;

/** A feed is asked again at most this often, and given up on after this long. */
const REFRESH_MS = 10 * 60_000;
const TIMEOUT_MS = 20_000;

/** Larger answers are no Kp feed. */
const ANSWER_BYTES_MAX = 5_000_000;

/**
 * The Kp of a public feed that the user has named. Asked in the background, never waited for;
 * the newest value is kept in the data folder, so that it is there, with its age, without network.
 */
export class KpFeed {
  readonly #url: string | null;
  readonly #path: string;
  readonly #nowUtcMs: () => number;
  #kept: KpObservation | null;
  #askedUtcMs: number | null = null;
  #asking: AbortController | null = null;
  #hasFailed = false;

  /**
   * @param url  `null`: no feed is used.
   * @param path  File that keeps the newest value.
   * @throws NightError `settings.invalid` for an address that is none.
   */
  constructor(options: {
    readonly url: string | null;
    readonly path: string;
    readonly nowUtcMs: () => number;
  }) {
    if (options.url !== null) checkFeedAddress(options.url);
    this.#url = options.url;
    this.#path = options.path;
    this.#nowUtcMs = options.nowUtcMs;
    this.#kept = options.url === null ? null : readKept(options.path, options.url);
  }

  /** The address; `null`: none is named. */
  get url(): string | null {
    return this.#url;
  }

  /** Asks the feed in the background, unless it was asked a short while ago. Returns at once. */
  refresh(): void {
    const now = this.#nowUtcMs();
    if (this.#url === null || this.#asking !== null) return;
    if (this.#askedUtcMs !== null && now - this.#askedUtcMs < REFRESH_MS) return;
    this.#askedUtcMs = now;
    this.#asking = new AbortController();
    void this.#ask(this.#url, this.#asking);
  }

  /** How the feed stands at this moment. */
  view(): KpFeedView {
    if (this.#url === null) {
      return {
        ...NOTHING,
        kind: "none",
        sentence: "No Kp feed is named; the table is for every Kp.",
      };
    }
    const kept = this.#kept;
    if (kept === null) {
      return this.#hasFailed
        ? { ...NOTHING, kind: "unreachable", sentence: "The Kp feed cannot be reached or read." }
        : { ...NOTHING, kind: "waiting", sentence: "The Kp feed has not answered yet." };
    }
    const ageMs = Math.max(0, this.#nowUtcMs() - kept.atUtcMs);
    const isStale = ageMs > STALE_MS;
    const kind = this.#hasFailed ? "unreachable" : isStale ? "stale" : "fresh";
    const after = this.#hasFailed ? "; the feed cannot be reached now" : "";
    return {
      kind,
      kp: kept.kp,
      at: isoOf(kept.atUtcMs),
      ageMinutes: Math.round(ageMs / 60_000),
      sentence: `Kp ${kept.kp.toFixed(1)}, ${ageText(ageMs)} old${after}.`,
    };
  }

  /** Gives up an answer that is still out. */
  close(): void {
    this.#asking?.abort();
  }

  async #ask(url: string, asking: AbortController): Promise<void> {
    const timer = setTimeout(() => asking.abort(), TIMEOUT_MS);
    timer.unref();
    try {
      const answer = await fetch(url, { signal: asking.signal });
      const text = await answer.text();
      const isUsable = answer.ok && text.length <= ANSWER_BYTES_MAX;
      const newest = isUsable ? newestKp(JSON.parse(text), this.#nowUtcMs()) : null;
      this.#hasFailed = newest === null;
      if (newest !== null) {
        this.#kept = newest;
        writeKept(this.#path, { url, ...newest });
      }
    } catch {
      // No network in the field is the ordinary case; the view says so.
      this.#hasFailed = true;
    } finally {
      clearTimeout(timer);
      this.#asking = null;
    }
  }
}

/** @throws NightError `settings.invalid` for an address that no feed can have. */
export function checkFeedAddress(url: string): void {
  if (/^https?:\/\/[^\s]+$/.test(url) && URL.canParse(url)) return;
  throw new NightError(
    "settings.invalid",
    `The Kp feed must be an http or https address, not "${url}".`,
  );
}

const NOTHING = { kp: null, at: null, ageMinutes: null } as const;

function ageText(ageMs: number): string {
  const minutes = Math.round(ageMs / 60_000);
  if (minutes < 120) return `${minutes} min`;
  return minutes < 48 * 60 ? `${Math.round(minutes / 60)} h` : `${Math.round(minutes / 1440)} days`;
}

function readKept(path: string, url: string): KpObservation | null {
  try {
    const kept = JSON.parse(readFileSync(path, "utf8")) as Partial<KpObservation> & {
      url?: string;
    };
    const { kp, atUtcMs } = kept;
    const isWhole = kept.url === url && typeof kp === "number" && typeof atUtcMs === "number";
    return isWhole ? { kp, atUtcMs } : null;
  } catch {
    // Only a convenience: without it the feed is simply asked.
    return null;
  }
}

function writeKept(path: string, kept: KpObservation & { readonly url: string }): void {
  try {
    mkdirSync(dirname(path), { recursive: true });
    writeDurablySync(path, `${JSON.stringify(kept)}\n`);
  } catch {
    // A data folder that cannot be written is reported where it matters, not here.
  }
}

const FILE = "kpFeed.json";

/** The Kp feed that the user once named; `null`: none, or a file that cannot be read as one. */
export function rememberedFeed(dataFolder: string): string | null {
  try {
    const kept = JSON.parse(readFileSync(join(dataFolder, FILE), "utf8")) as { url?: unknown };
    return typeof kept.url === "string" && /^https?:/.test(kept.url) ? kept.url : null;
  } catch {
    // Nothing remembered is the ordinary case, and a feed is only a convenience.
    return null;
  }
}

/** Remembers a feed's address; `null` forgets it. */
export function rememberFeed(dataFolder: string, url: string | null): void {
  const path = join(dataFolder, FILE);
  if (url === null) return rmSync(path, { force: true });
  mkdirSync(dataFolder, { recursive: true });
  writeDurablySync(path, `${JSON.stringify({ url })}\n`);
}

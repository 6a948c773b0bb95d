/** Probing by advice for hosts: after 10 s of silence, three misses. No source; judgement. */
const PROBE_AFTER_MS = 10_000;
const PROBE_MISSES_MAX = 3;

type IpSilenceOptions = {
  /** Silence before a probe is sent, real milliseconds; null: never probe. */
  readonly probeAfterMs: number | "never" | undefined;
  readonly probe: () => void;
  readonly onDead: () => void;
};

/** Asks a silent camera whether it is there; one that never answered such a question is let be. */
export class IpSilence {
  readonly #options: IpSilenceOptions;
  #timer: NodeJS.Timeout | null = null;
  #isSilent = true;
  #misses = 0;
  #answersProbes = false;

  constructor(options: IpSilenceOptions) {
    this.#options = options;
  }

  start(): void {
    const { probeAfterMs = PROBE_AFTER_MS } = this.#options;
    if (probeAfterMs === "never") return;
    this.#timer = setInterval(() => this.#look(), probeAfterMs);
    this.#timer.unref();
  }

  stop(): void {
    if (this.#timer) clearInterval(this.#timer);
    this.#timer = null;
  }

  /** The camera has said something. */
  hear(what: "a probe's answer" | "anything else"): void {
    this.#isSilent = false;
    this.#misses = 0;
    if (what === "a probe's answer") this.#answersProbes = true;
  }

  #look(): void {
    const wasSilent = this.#isSilent;
    this.#isSilent = true;
    if (!wasSilent) return;
    if (this.#answersProbes && this.#misses >= PROBE_MISSES_MAX) return this.#options.onDead();
    this.#misses += 1;
    this.#options.probe();
  }
}

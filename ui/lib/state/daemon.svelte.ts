import type { DaemonView, ServerMessage, WatchView } from "../../../core/api/messages.ts";

export type LinkState = "connecting" | "live" | "lost";

/** What the daemon said last, and how long ago. */
export class Daemon {
  view = $state.raw<DaemonView | null>(null);
  link = $state.raw<LinkState>("connecting");
  /** Page time of the last message. */
  heardAtMs = $state.raw(0);
  /** Page time, moved on once a second by `tick`. */
  nowMs = $state.raw(0);

  readonly night = $derived(this.view?.night ?? null);
  readonly watches = $derived<readonly WatchView[]>(this.view?.watches ?? []);
  /** How old the data is. */
  readonly ageMs = $derived(Math.max(0, this.nowMs - this.heardAtMs));
  /** The night's own time; it stands still while nobody answers. */
  readonly nightNowUtcMs = $derived.by(() => {
    if (this.view === null) return null;
    const passedMs = this.link === "live" ? this.ageMs * this.view.rate : 0;
    return this.view.nowUtcMs + passedMs;
  });

  /** The watch of a camera; without one, or when it is gone, the first. */
  watchOf(cameraId: string | null): WatchView | null {
    return this.watches.find((one) => one.cameraId === cameraId) ?? this.watches[0] ?? null;
  }

  apply(message: ServerMessage, atMs: number): void {
    this.link = "live";
    this.heardAtMs = atMs;
    this.nowMs = atMs;
    if (message.kind === "state") this.view = message.state;
  }

  lose(): void {
    this.link = "lost";
  }

  tick(atMs: number): void {
    this.nowMs = atMs;
  }
}

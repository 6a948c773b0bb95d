import type { ExposureSettings } from "../exposure/settings.ts";
import type { FrameRecord } from "../watch/frameRecord.ts";
import type { GuardNotice } from "../watch/guardNotice.ts";
import type { GapNotice, SurgeNotice } from "../frames/notices.ts";
import type { Outside } from "../sky/light.ts";
import type { UtcMs } from "../units.ts";
import type { StateRow } from "../watch/stateSentence.ts";

/** The worst that is true, as page and terminal show it; `core/watch/stateSentence.ts` derives it. */
export type StateNotice = Omit<StateRow, "sinceMs"> & {
  /** null: it has no beginning that matters. */
  readonly sinceUtcMs: UtcMs | null;
};

/** What a camera's watch is doing. */
export type WatchPhase =
  "idle" | "waiting" | "connecting" | "watching" | "paused" | "recovering" | "finished";

/** How one camera's watch stands. */
export type WatchView = {
  readonly cameraId: string;
  readonly cameraLabel: string;
  readonly phase: WatchPhase;
  /** Everything that is true of this watch, the worst first; never empty. */
  readonly states: readonly StateNotice[];
  /** The first state's own sentence: all is well, or the one thing that is not. */
  readonly sentence: string;
  readonly allIsWell: boolean;
  /** When a pause by hand ends by itself; null: there is no pause, or it has no end. */
  readonly pausedUntilUtcMs: UtcMs | null;
  readonly pace: "full" | "sentinel";
  /** True while the shutter is open. */
  readonly isExposing: boolean;
  readonly frameCount: number;
  readonly newest: FrameRecord | null;
  readonly batteryPercent: number | null;
  /** When the battery will be down to where the watch ends, at this pace; null: not known. */
  readonly batteryEndsUtcMs: UtcMs | null;
  readonly cardFreeBytes: number | null;
  readonly cardFreeFrames: number | null;
  /** When the card is full at this pace; null: not known. */
  readonly cardEndsUtcMs: UtcMs | null;
  /** When the next frame is due; null: nothing follows by itself, or the pace is not known. */
  readonly nextFrameUtcMs: UtcMs | null;
  /** When frames begin, while the watch waits for dark; else null. */
  readonly startsUtcMs: UtcMs | null;
  /** When the watch will end, and by what; null: not known. */
  readonly endsUtcMs: UtcMs | null;
  readonly endsBy: "time" | "frames" | "dawn" | "battery" | "card" | "hand";
  readonly settings: ExposureSettings;
  readonly guards: readonly GuardNotice[];
  readonly surges: readonly SurgeNotice[];
  readonly gaps: readonly GapNotice[];
};

/** A night as the list of nights shows it. */
export type NightSummary = {
  /** Name of its folder: `YYYY-MM-DD_name`. */
  readonly nightId: string;
  readonly name: string;
  readonly startUtcMs: UtcMs;
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly placeName: string;
  /** True for a rehearsal against the simulated sky. */
  readonly isRehearsal: boolean;
  readonly frameCount: number;
};

/** What happened in one camera's night. */
export type NightTimeline = {
  readonly surges: readonly SurgeNotice[];
  readonly gaps: readonly GapNotice[];
  readonly guards: readonly GuardNotice[];
};

/** The whole state of the daemon as the page needs it. */
export type DaemonView = {
  readonly version: string;
  /** Night time, and how fast it runs. */
  readonly nowUtcMs: UtcMs;
  readonly rate: number;
  readonly night: NightSummary | null;
  /** The night in one sentence, over all watches. */
  readonly state: StateNotice;
  readonly watches: readonly WatchView[];
  readonly freeDiskBytes: number | null;
  /** Now, by the wall clock, at the night's place; unknown in a demo, whose place is not where the computer is. */
  readonly outside: Outside;
};

/** What the daemon pushes over the socket. */
export type ServerMessage =
  | { readonly kind: "state"; readonly state: DaemonView }
  | { readonly kind: "frame"; readonly nightId: string; readonly frame: FrameRecord };

/** What the photographer can tell a watch. */
export type WatchCommand =
  | { readonly kind: "start" }
  /** Takes no frame until then; null or left out: until resumed. */
  | { readonly kind: "pause"; readonly untilUtcMs: UtcMs | null }
  | { readonly kind: "resume" }
  | { readonly kind: "stop" }
  | { readonly kind: "settings"; readonly settings: Partial<ExposureSettings> };

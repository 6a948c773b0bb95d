import type {
  DaemonView,
  NightTimeline,
  NightSummary,
  ServerMessage,
  WatchCommand,
} from "../../core/api/messages.ts";
import type { CameraFacts } from "../../core/plan/checklist.ts";
import type { CameraKitFacts } from "../../core/plan/kitFromCamera.ts";
import type { PlanRequest } from "../../core/plan/plan.ts";
import type { Stray } from "../../core/frames/stray.ts";
import type { FrameRecord } from "../../core/watch/frameRecord.ts";

/** A stretch of one camera's frames. */
export type FrameRange = {
  readonly fromIndex: number;
  readonly count: number;
  readonly cameraId?: string | undefined;
};

/** What the web server needs of the running program; the composition root provides it. */
export type NightService = {
  view(): DaemonView;
  /** Calls the listener on every change; returns the way to stop listening. */
  subscribe(listener: (message: ServerMessage) => void): () => void;
  /** @throws NightError `settings.invalid` with one clear sentence. */
  command(cameraId: string, command: WatchCommand): void;
  nights(): readonly NightSummary[];
  /**
   * One camera's frames of a night by rising index, at most `count` from `fromIndex`; an index is
   * unique within a camera only. No camera named: the night's first.
   */
  frames(nightId: string, options: FrameRange): readonly FrameRecord[];
  /** What happened in one camera's night, from its catalogue. No camera named: the night's first. */
  timeline(nightId: string, cameraId?: string): NightTimeline;
  /** Pictures of a night that are no frame's by any proof, of all its cameras. */
  strays(nightId: string): readonly Stray[];
  /** Absolute path of a frame's JPEG; null when there is none. No camera named: the night's first. */
  framePath(nightId: string, frameIndex: number, cameraId?: string): string | null;
  /** What a connected camera says of its settings; null while none is connected. */
  cameraFacts?(cameraId: string): Partial<CameraFacts> | null;
  /** What a connected camera says of the kit; null while none is connected. */
  cameraKit?(cameraId: string): CameraKitFacts | null;
  /** Keeps what the night is planned with, for its report. @returns false when no night is open. */
  keepPlan?(request: PlanRequest): boolean;
  /** Absolute path of a camera's newest frame tonight; null: none is kept yet. */
  newestFramePath?(cameraId: string): string | null;
};

import type { ClockOrigin } from "../timing/clock.ts";
import type { CameraEvent, CardFile, ExposureOrder, FilePiece } from "../cameras/camera.ts";
import type { CameraControls } from "../../core/profiles/cameraControls.ts";
import type { CameraProfiles } from "../../core/profiles/resolve.ts";
import type { ProtocolEntry } from "../cameras/trace/protocolTape.ts";
import type { CameraTarget } from "../cameras/createTransport.ts";
import type { Exposure } from "../../core/exposure/exposure.ts";
import type { ErrorCode } from "../../core/errors.ts";
import type { Scheduling } from "../../core/words/timingWords.ts";
import type { ClockSetting } from "./cameraTime.ts";

/** What is wanted of a trace; pictures are cut out of it unless they are asked for. */
export type TraceWish = { readonly withPictures: boolean };

/** What the timing thread is started with. */
export type ShutterThreadData = {
  readonly cameraId: string;
  readonly target: CameraTarget;
  readonly origin: ClockOrigin;
  readonly controls: CameraControls;
  readonly profiles?: CameraProfiles | undefined;
  readonly setClock?: ClockSetting | undefined;
  /** Everything that goes over the link is reported; left out: only what precedes a fault. */
  readonly trace?: TraceWish | undefined;
  /** Shared with the main thread: see `shutterFlag.ts`. */
  readonly flag: SharedArrayBuffer;
  /** Where the next process finds an exposure that this one leaves open; null: nowhere. */
  readonly notePath: string | null;
};

/** What the main thread asks of the timing thread. */
export type ToShutter =
  | { readonly kind: "connect" }
  | { readonly kind: "expose"; readonly order: ExposureOrder }
  | { readonly kind: "closeShutter"; readonly frameIndex: number }
  | { readonly kind: "readStatus" }
  | { readonly kind: "prepare"; readonly requestId: number; readonly exposure: Exposure }
  /** The shutter is released by other means. */
  | {
      readonly kind: "noteReleased";
      readonly frameIndex: number;
      readonly what: "opened" | "closed";
    }
  /** The picture that was brought for this frame is another's. */
  | { readonly kind: "awaitAgain"; readonly frameIndex: number }
  | { readonly kind: "listCard"; readonly requestId: number }
  | { readonly kind: "fetchFile"; readonly requestId: number; readonly cameraHandle: number }
  | {
      readonly kind: "fetchPiece";
      readonly requestId: number;
      readonly cameraHandle: number;
      readonly range: { readonly offset: number; readonly bytes: number };
    }
  /** The program is ending: close the shutter now, then the session, then the thread. */
  | { readonly kind: "close" };

/** What the timing thread tells the main thread. */
export type FromShutter =
  | { readonly kind: "event"; readonly event: CameraEvent }
  /** What went over the link before a fault, or all of it where a trace is written. */
  | {
      readonly kind: "protocol";
      readonly why: "fault" | "trace";
      readonly entries: readonly ProtocolEntry[];
    }
  /** What the system granted when the thread began. */
  | { readonly kind: "scheduled"; readonly scheduling: Scheduling }
  | { readonly kind: "prepared"; readonly requestId: number; readonly exposure: Exposure }
  | { readonly kind: "card"; readonly requestId: number; readonly files: readonly CardFile[] }
  | { readonly kind: "file"; readonly requestId: number; readonly bytes: Uint8Array }
  | { readonly kind: "piece"; readonly requestId: number; readonly piece: FilePiece }
  | {
      readonly kind: "refused";
      readonly requestId: number;
      readonly code: ErrorCode;
      readonly sentence: string;
    }
  | { readonly kind: "ended" };

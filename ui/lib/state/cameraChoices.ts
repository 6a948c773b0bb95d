import type { WatchView } from "../../../core/api/messages.ts";
import { words } from "../../../core/words/words.ts";

/** A camera as the chooser shows it. */
export type CameraChoice = {
  readonly cameraId: string;
  readonly label: string;
  /** A word on how its watch stands; null where none is known. */
  readonly state: string | null;
  readonly isWell: boolean;
};

/** The cameras of the open night, with a word on each watch. */
export function choicesOf(watches: readonly WatchView[]): readonly CameraChoice[] {
  return watches.map(({ cameraId, cameraLabel, phase, allIsWell }) => ({
    cameraId,
    label: cameraLabel,
    state: words.status.phases[phase],
    isWell: allIsWell,
  }));
}

/** The cameras of any night, by the ids in its frames; a camera that is connected has its name. */
export function choicesOfIds(
  cameraIds: readonly string[],
  watches: readonly WatchView[],
): readonly CameraChoice[] {
  return cameraIds.map((cameraId) => ({
    cameraId,
    label: watches.find((watch) => watch.cameraId === cameraId)?.cameraLabel ?? cameraId,
    state: null,
    isWell: true,
  }));
}

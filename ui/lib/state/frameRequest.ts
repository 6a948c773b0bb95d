import type { FrameRecord } from "../../../core/watch/frameRecord.ts";
import { fetchFrame, type CameraNight } from "../api/client.ts";

/** A pointer that runs along the strip asks for no frame that it only passes. */
const PEEK_MS = 120;

type FrameRequest = {
  readonly of: CameraNight;
  readonly frameIndex: number;
  /** It lies under the pointer, which may only pass it. */
  readonly isPeek: boolean;
  readonly onrecord: (record: FrameRecord) => void;
  /** Left out: the daemon is asked. */
  readonly fetchRecord?: (of: CameraNight, frameIndex: number) => Promise<FrameRecord>;
};

/** Asks for the record of a frame that is looked at. @returns what gives the request up. */
export function requestFrame(request: FrameRequest): () => void {
  const { of, frameIndex, isPeek, onrecord, fetchRecord = fetchFrame } = request;
  let isCurrent = true;
  const timer = setTimeout(
    () => {
      fetchRecord(of, frameIndex)
        .then((record) => {
          if (isCurrent) onrecord(record);
        })
        // A lost link is reported in the state row; the details stay as they were.
        .catch(() => undefined);
    },
    isPeek ? PEEK_MS : 0,
  );
  return () => {
    isCurrent = false;
    clearTimeout(timer);
  };
}

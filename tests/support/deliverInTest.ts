import {
  DEFAULT_DELIVER_ORDER,
  type DeliverOrder,
  type DeliverProgress,
  type DeliverResult,
} from "../../core/api/deliverMessages.ts";
import { deliverNight } from "../../controller/deliver/deliverNight.ts";

/** Nothing but the sequence, unless asked. */
export const SEQUENCE_ONLY: DeliverOrder = {
  ...DEFAULT_DELIVER_ORDER,
  ...{ videos: [], keogram: false, starTrail: false, contactSheet: false, report: false },
};

export function deliverInTest(
  nightDir: string,
  outDir: string,
  order: Partial<DeliverOrder> = {},
  options: { onProgress?: (progress: DeliverProgress) => void; signal?: AbortSignal } = {},
): Promise<DeliverResult> {
  return deliverNight({
    nightDir,
    outDir,
    order: { ...SEQUENCE_ONLY, ...order },
    onProgress: options.onProgress ?? (() => undefined),
    signal: options.signal ?? new AbortController().signal,
  });
}

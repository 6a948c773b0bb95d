import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import {
  startDeliverProcess,
  type DeliverProcess,
} from "../../controller/deliver/deliverProcess.ts";
import { renderNight } from "../support/renderedNight.ts";
import type { BenchRow } from "./benchRow.ts";
import { threadErrorsMs } from "./shutter.ts";
import { valueAtShare } from "../../core/statistics.ts";

/** Large enough that its films take longer than a run of the shutter. */
const NIGHT = { count: 120, widthPx: 1200, heightPx: 800 };

/**
 * Asked against actual exposure by the timing thread, while a delivery of a night renders frames and
 * encodes H.264 and VP9 as the page would have it, beside the same without.
 */
export async function benchShutterDelivering(): Promise<BenchRow[]> {
  const dataDir = mkdtempSync(join(tmpdir(), "nattvakt-bench-"));
  try {
    const { nightDir } = await renderNight({ dataDir, ...NIGHT });
    const idle = await threadErrorsMs();
    const delivery = await keepDelivering(nightDir);
    const delivering = await threadErrorsMs();
    const endedCount = await delivery.stop();
    return [0.5, 0.99].map((share) => {
      const [value, comparedValue] = [
        valueAtShare(delivering, share) ?? NaN,
        valueAtShare(idle, share) ?? NaN,
      ];
      return {
        ...{ group: "shutterDelivering", unit: "ms", value, comparedValue },
        name: `error of a bulb exposure while a night is delivered, p${share * 100}`,
        comparedWith: "the same without a delivery",
        ratio: value / comparedValue,
        note: `${delivering.length} exposures; the delivery was begun again ${endedCount} times`,
      };
    });
  } finally {
    rmSync(dataDir, { recursive: true, force: true });
  }
}

/** Delivers over and over, from the first frames on their way to a film until it is stopped. */
async function keepDelivering(nightDir: string): Promise<{ stop: () => Promise<number> }> {
  let isStopped = false;
  let endedCount = 0;
  let running: DeliverProcess;
  let tellBegun = (): void => undefined;
  const hasBegun = new Promise<void>((resolve) => (tellBegun = resolve));
  const hasEnded = new Promise<void>((resolve) => {
    const begin = (): void => {
      running = startDeliverProcess([nightDir, "--video", "h264,vp9"], {
        line: (line) => {
          if (line.kind === "progress" && line.progress.label.startsWith("film")) tellBegun();
        },
        end: (sentence) => {
          if (isStopped) return resolve();
          if (sentence !== null) throw new Error(sentence);
          endedCount += 1;
          begin();
        },
      });
    };
    begin();
  });
  await hasBegun;
  return {
    stop: async () => {
      isStopped = true;
      running.stop();
      await hasEnded;
      return endedCount;
    },
  };
}

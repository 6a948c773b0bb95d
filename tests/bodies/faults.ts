import { OPERATION, RESPONSE } from "./codes.ts";
import type { Diary } from "./diary.ts";

const OPENING = [OPERATION.initiateCapture, OPERATION.initiateOpenCapture, 0x9125, 0x9128] as const;

/** What no host may do to a body, whatever the body is like. */
export function faultsOf(diary: Diary): readonly string[] {
  const faults: string[] = [...diary.complaints, ...diary.harmful];
  if (diary.timedAtBulb > 0) faults.push(`${diary.timedAtBulb} timed captures at bulb`);
  if (diary.shutterIsOpen) faults.push("the shutter was left open");
  if (diary.writtenAgain.length > 0) {
    const codes = new Set(diary.writtenAgain.map(({ code }) => code.toString(16)));
    faults.push(`${diary.writtenAgain.length} settings written again: ${[...codes].join(" ")}`);
  }
  for (const operation of OPENING) {
    const refused = diary.refusals.filter(
      (refusal) => refusal.operation === operation && refusal.response !== RESPONSE.deviceBusy,
    );
    if (refused.length > REFUSALS_MAX) {
      faults.push(`${refused.length} refusals of 0x${operation.toString(16)}`);
    }
  }
  return faults;
}

/** A way is asked for three times; a retry minutes later does not fall into six frames. */
const REFUSALS_MAX = 3;

import { exposureTime, isoValue, luminance } from "../format/figures.ts";
import type { TracePoint } from "../state/tracePoint.ts";
import { words } from "../../../core/words/words.ts";
import type { Lane } from "./lanes.ts";

type LaneName = {
  readonly key: Lane["key"];
  readonly label: string;
  /** What it was at the frame shown; empty: not known. */
  readonly value: string;
};

/** The curves' names from the top, each with its value at a frame. */
export function laneNames(shown: TracePoint | null): readonly LaneName[] {
  const sky = shown?.skyLuminanceCdM2;
  return [
    { key: "sky", label: words.strip.sky, value: sky ? luminance(sky) : "" },
    {
      key: "exposure",
      label: words.strip.exposure,
      value: shown ? exposureTime(shown.exposureSeconds) : "",
    },
    { key: "iso", label: words.strip.iso, value: shown ? isoValue(shown.iso) : "" },
  ];
}

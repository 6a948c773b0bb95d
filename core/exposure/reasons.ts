import type { ExposureLimit } from "./allocation.ts";
import type { LightMeterTrust } from "./lightMeter.ts";
import type { SkyMood } from "./skyModels.ts";

/** What a decision rested on, before it is put into words. */
export type DecisionFacts = {
  readonly start: "asked" | "guessed" | "governed";
  /** Change of the sky over the last minute, stops; null: not known. */
  readonly changeStops: number | null;
  readonly changeSeconds: number;
  /** What the forecast adds to the newest reading, stops. */
  readonly aheadStops: number;
  /** One standard deviation of that. */
  readonly aheadDoubtStops: number;
  readonly mood: SkyMood;
  readonly limit: ExposureLimit;
  readonly exposureSeconds: number;
  readonly iso: number;
  readonly heldIso: number | null;
  readonly curtainSeconds: number;
  /** The curtains' limit counts pixels of a usual frame, as the camera's are not known. */
  readonly isCurtainScaleGuessed: boolean;
  /** How far below the target the highlights or the film's smoothness keep the frame, stops. */
  readonly loweredStops: number;
  readonly slowedStops: number;
  readonly secondsWithoutReading: number;
  readonly light: LightMeterTrust;
};

const MOODS: Readonly<Record<SkyMood, string>> = {
  still: "sky steady",
  trending: "following the sky's trend",
  pulsing: "sky pulsates: exposed for its mean",
  wild: "sky restless: exposed between its swings",
};

/** A decision's reasons in plain words, the weightiest first; never empty. */
export function reasonsFor(facts: DecisionFacts): string[] {
  return [
    ...skyReasons(facts),
    ...limitReasons(facts),
    ...isoReasons(facts),
    ...lightReasons(facts),
  ];
}

function skyReasons(facts: DecisionFacts): string[] {
  if (facts.start === "asked") return ["no reading yet: the exposure to begin with"];
  if (facts.start === "guessed") return ["no reading yet: a guess for a dark sky"];
  const reasons: string[] = [];
  const { changeStops, aheadStops, secondsWithoutReading } = facts;
  if (changeStops !== null && Math.abs(changeStops) >= 0.15) {
    const way = changeStops > 0 ? "brighter" : "darker";
    const when =
      facts.changeSeconds > 45 && facts.changeSeconds < 90
        ? "a minute ago"
        : `${Math.round(facts.changeSeconds)} s ago`;
    reasons.push(`sky ${stops(changeStops)} ${way} than ${when}`);
  }
  const isForesight = facts.mood !== "pulsing" && Math.abs(aheadStops) >= facts.aheadDoubtStops;
  const isAhead = Math.abs(aheadStops) >= 0.08;
  if (isAhead && isForesight) {
    const way = aheadStops > 0 ? "brighten" : "darken";
    reasons.push(`expected to ${way} by ${stops(aheadStops)} until this frame`);
  }
  // Short of foresight, what differs from the newest reading only evens out the sky's swings.
  if (reasons.length === 0 || facts.mood === "pulsing" || (isAhead && !isForesight)) {
    reasons.push(MOODS[facts.mood]);
  }
  if (secondsWithoutReading > 60) {
    reasons.push(`no reading for ${howLong(secondsWithoutReading)}, going by the forecast`);
  }
  return reasons;
}

function howLong(seconds: number): string {
  return seconds < 120 ? `${Math.round(seconds)} s` : `${Math.round(seconds / 60)} min`;
}

function limitReasons(facts: DecisionFacts): string[] {
  const reasons: string[] = [];
  const crisp = `${facts.curtainSeconds.toFixed(1)} s`;
  const scale = facts.isCurtainScaleGuessed ? " (the camera's pixels are not known)" : "";
  if (facts.limit === "curtains") reasons.push(`kept under ${crisp} for the curtains${scale}`);
  if (facts.limit === "isoCap") {
    reasons.push(`ISO at its cap: brightness before the curtains' ${crisp}`);
  }
  if (facts.limit === "isoFloor") reasons.push("ISO at its lowest: time alone follows the sky");
  if (facts.limit === "longest") {
    reasons.push("longest exposure and ISO at its cap: darker than wanted");
  }
  if (facts.limit === "shortest") {
    reasons.push("shortest exposure and ISO at its lowest: brighter than wanted");
  }
  if (facts.loweredStops >= 0.02) {
    reasons.push(`${stops(facts.loweredStops)} under the target for the highlights`);
  }
  if (Math.abs(facts.slowedStops) >= 0.02) {
    reasons.push(`slowed by ${stops(facts.slowedStops)} for a smooth film`);
  }
  return reasons;
}

function isoReasons({ iso, heldIso }: DecisionFacts): string[] {
  if (heldIso === null || heldIso === iso) return [];
  return [`ISO ${iso > heldIso ? "raised" : "lowered"} from ${heldIso} to ${iso}`];
}

function lightReasons({ light }: DecisionFacts): string[] {
  if (light.kind === "followed") return ["light meter followed"];
  if (light.why === "jammed") return ["light meter ignored: its value stands still"];
  if (light.why === "silent") return ["light meter ignored: it has gone silent"];
  if (light.why === "jumped") return ["light meter ignored: a jump that no frame confirms yet"];
  if (light.why === "disagrees") return ["light meter ignored: the frames deny it"];
  return [];
}

function stops(value: number): string {
  const size = Math.abs(value);
  const text = size < 0.1 ? size.toFixed(2) : size.toFixed(1);
  return `${text} ${text === "1.0" ? "stop" : "stops"}`;
}

import { stretch } from "../words/timeWords.ts";
import { batteryShareAt } from "./budget.ts";

/** What a camera says of its settings before the night; `null` and "unknown": it does not say. */
export type CameraFacts = {
  readonly program: "manual" | "other" | "unknown";
  readonly hasBulb: boolean | null;
  readonly focus: "manual" | "automatic" | "unknown";
  /** In-camera noise reductions, long exposure and high ISO together. */
  readonly noiseReduction: "off" | "on" | "unknown";
  readonly imageFormat: "raw" | "rawAndJpeg" | "jpeg" | "unknown";
  /** Camera clock less ours, milliseconds. */
  readonly clockOffsetMs: number | null;
  readonly batteryPercent: number | null;
  readonly freeBytes: number | null;
  readonly standby: "off" | "on" | "unknown";
  /** What the watch that runs says of battery and card; `null`: none runs that has an end. */
  readonly running: RunningNight | null;
};

/** How long battery and card last beside what is left of the night, at the present pace, milliseconds. */
type RunningNight = {
  readonly leftMs: number;
  /** `null`: not known yet. */
  readonly batteryMs: number | null;
  /** `null`: not known yet. */
  readonly cardMs: number | null;
};

/** A camera that tells nothing, as one on a plain release cable. */
export const UNKNOWN_CAMERA: CameraFacts = {
  program: "unknown",
  hasBulb: null,
  focus: "unknown",
  noiseReduction: "unknown",
  imageFormat: "unknown",
  clockOffsetMs: null,
  batteryPercent: null,
  freeBytes: null,
  standby: "unknown",
  running: null,
};

/** What the coming watch asks of the kit; 0 where there is no watch. */
export type ChecklistNeeds = { readonly bytes: number; readonly batteries: number };

/** Ids of the items that the program looks at by itself. */
export const CAMERA_ITEM_IDS = [
  "manualExposure",
  "bulb",
  "manualFocus",
  "noiseReductionOff",
  "rawFormat",
  "clockRight",
  "battery",
  "freeSpace",
  "standbyOff",
] as const;

/** Ids of the items that are ticked by hand. */
export const HAND_ITEM_IDS = [
  "tripodFirm",
  "thinLegsIn",
  "centreColumnDown",
  "stabiliserOff",
  "strapTied",
  "lensHeaterOn",
  "spareBatteryWarm",
  "facingPole",
  "noTownLight",
  "somebodyKnows",
] as const;

/** An item that the camera can answer by itself. */
type CameraItemId = (typeof CAMERA_ITEM_IDS)[number];
/** An item that only a person can tick. */
type HandItemId = (typeof HAND_ITEM_IDS)[number];
/** Any item of the checklist. */
type ChecklistItemId = CameraItemId | HandItemId;

/** Met or not; "cannot tell" may still be ticked by hand and then counts as met. */
type ChecklistAnswer = "met" | "notMet" | "cannotTell";

/** One line of the checklist. */
export type ChecklistItem = {
  readonly id: ChecklistItemId;
  /** Who looks: the program, or the photographer. */
  readonly by: "camera" | "hand";
  readonly title: string;
  readonly why: string;
  readonly howToMend: string;
  readonly answer: ChecklistAnswer;
  readonly isTicked: boolean;
  /** What was found, where the camera tells: "38 % left". */
  readonly found: string | null;
  /** Ticking by hand is possible: hand items, and those the camera does not tell. */
  readonly canTick: boolean;
};

/** The whole list and where it stands. */
export type Checklist = {
  readonly items: readonly ChecklistItem[];
  readonly metCount: number;
  readonly notMetCount: number;
  readonly openCount: number;
  readonly sentence: string;
};

/**
 * The checklist before dark.
 *
 * @param facts  What the camera tells; `UNKNOWN_CAMERA` without one.
 * @param ticks  Ids ticked by hand; ids that are none are ignored, and a tick does not overrule
 *   what the camera says.
 * @param needs  What the coming watch asks for.
 * Common practice throughout, no source.
 */
export function checklistOf(options: {
  readonly facts: CameraFacts;
  readonly ticks: readonly string[];
  readonly needs: ChecklistNeeds;
}): Checklist {
  const { facts, ticks, needs } = options;
  const ticked = new Set(ticks);
  const items = [
    ...CAMERA_ITEM_IDS.map((id) => cameraItem(id, lookAt(id, facts, needs), ticked.has(id))),
    ...HAND_ITEM_IDS.map((id) => handItem(id, ticked.has(id))),
  ];
  const count = (answer: ChecklistAnswer): number =>
    items.filter((item) => item.answer === answer).length;
  const [metCount, notMetCount] = [count("met"), count("notMet")];
  const openCount = items.length - metCount - notMetCount;
  return {
    items,
    metCount,
    notMetCount,
    openCount,
    sentence: standing({ items, notMetCount, openCount }),
  };
}

function standing(list: {
  readonly items: readonly ChecklistItem[];
  readonly notMetCount: number;
  readonly openCount: number;
}): string {
  const wrong = list.items.filter(({ answer }) => answer === "notMet").map(({ title }) => title);
  if (wrong.length > 0) return `Mend first: ${wrong.join(", ").toLowerCase()}.`;
  if (list.openCount > 0) {
    return `Nothing is wrong; ${list.openCount} ${list.openCount === 1 ? "item is" : "items are"} still to be ticked.`;
  }
  return "Everything is met: ready for the dark.";
}

type Look = { readonly answer: ChecklistAnswer; readonly found: string | null };

function cameraItem(id: CameraItemId, look: Look, isTicked: boolean): ChecklistItem {
  const canTick = look.answer === "cannotTell";
  return {
    id,
    by: "camera",
    ...CAMERA_WORDS[id],
    answer: canTick && isTicked ? "met" : look.answer,
    isTicked: canTick && isTicked,
    found: look.found,
    canTick,
  };
}

function handItem(id: HandItemId, isTicked: boolean): ChecklistItem {
  return {
    id,
    by: "hand",
    ...HAND_WORDS[id],
    answer: isTicked ? "met" : "cannotTell",
    isTicked,
    found: null,
    canTick: true,
  };
}

/** A clock that is off by more than this misplaces frames among others. Common practice, no source. */
export const CLOCK_OFFSET_MAX_MS = 2000;

/** A battery below this is not a full one. Common practice, no source. */
const BATTERY_FULL_PERCENT = 90;

function lookAt(id: CameraItemId, facts: CameraFacts, needs: ChecklistNeeds): Look {
  switch (id) {
    case "manualExposure":
      return choice(facts.program, "manual", { manual: "manual", other: "another program" });
    case "bulb":
      return facts.hasBulb === null
        ? CANNOT_TELL
        : { answer: facts.hasBulb ? "met" : "notMet", found: facts.hasBulb ? "bulb" : "no bulb" };
    case "manualFocus":
      return choice(facts.focus, "manual", { manual: "manual", automatic: "automatic" });
    case "noiseReductionOff":
      return choice(facts.noiseReduction, "off", { off: "off", on: "on" });
    case "rawFormat":
      return rawLook(facts.imageFormat);
    case "clockRight":
      return clockLook(facts.clockOffsetMs);
    case "battery":
      return batteryLook(facts, needs.batteries);
    case "freeSpace":
      return spaceLook(facts, needs.bytes);
    case "standbyOff":
      return choice(facts.standby, "off", { off: "off", on: "on" });
  }
}

const CANNOT_TELL: Look = { answer: "cannotTell", found: null };

function choice<T extends string>(
  value: T | "unknown",
  wanted: T,
  words: Readonly<Record<T, string>>,
): Look {
  if (value === "unknown") return CANNOT_TELL;
  return { answer: value === wanted ? "met" : "notMet", found: words[value as T] };
}

function rawLook(format: CameraFacts["imageFormat"]): Look {
  if (format === "unknown") return CANNOT_TELL;
  const words = { raw: "raw", rawAndJpeg: "raw and JPEG", jpeg: "JPEG only" } as const;
  return { answer: format === "jpeg" ? "notMet" : "met", found: words[format] };
}

function clockLook(offsetMs: number | null): Look {
  if (offsetMs === null) return CANNOT_TELL;
  const seconds = Math.round(Math.abs(offsetMs) / 1000);
  const side = offsetMs > 0 ? "ahead" : "behind";
  const isRight = Math.abs(offsetMs) <= CLOCK_OFFSET_MAX_MS;
  return {
    answer: isRight ? "met" : "notMet",
    found: isRight ? "right" : `${seconds} s ${side}`,
  };
}

/**
 * Before the night a full battery is asked for; that one is not enough for the night is said, and is
 * no fault. During it the battery has to last, by the sum that the page shows everywhere.
 */
function batteryLook({ batteryPercent: percent, running }: CameraFacts, batteries: number): Look {
  if (percent === null) return CANNOT_TELL;
  const left = `${Math.round(percent)} % left`;
  if (running !== null) {
    return running.batteryMs === null
      ? { answer: "met", found: left }
      : lastsLook(left, running.batteryMs, running.leftMs);
  }
  const change = batteries > 1 ? `; this night takes ${batteries} in this cold` : "";
  return {
    answer: percent >= BATTERY_FULL_PERCENT ? "met" : "notMet",
    found: `${left}${change}`,
  };
}

/** Before the night by what the plan needs, during it by the sum that the page shows everywhere. */
function spaceLook({ freeBytes, running }: CameraFacts, neededBytes: number): Look {
  if (freeBytes === null) return CANNOT_TELL;
  const free = `${gigabytes(freeBytes)} free`;
  if (running !== null && running.cardMs !== null) {
    return lastsLook(free, running.cardMs, running.leftMs);
  }
  return {
    answer: freeBytes >= neededBytes ? "met" : "notMet",
    found: `${free}, ${gigabytes(neededBytes)} needed`,
  };
}

function lastsLook(found: string, lastsMs: number, leftMs: number): Look {
  return {
    answer: lastsMs >= leftMs ? "met" : "notMet",
    found: `${found}, about ${stretch(lastsMs)} at this pace; ${stretch(leftMs)} to go`,
  };
}

function gigabytes(bytes: number): string {
  const size = bytes / 1e9;
  return `${size < 10 ? size.toFixed(1) : Math.round(size)} GB`;
}

/** The plan's own figure, so that plan and checklist agree. */
function coldBatteryText(): string {
  return `At −20 °C a battery has ${Math.round(batteryShareAt(-20) * 100)} % of its energy`;
}

type Words = Pick<ChecklistItem, "title" | "why" | "howToMend">;

const CAMERA_WORDS: Readonly<Record<CameraItemId, Words>> = {
  manualExposure: {
    title: "Manual exposure",
    why: "Any other program changes the exposure behind the governor's back.",
    howToMend: "Turn the program dial to manual, or to bulb.",
  },
  bulb: {
    title: "Bulb available",
    why: "In bulb an exposure may last exactly as long as the sky asks.",
    howToMend: "Turn the dial to bulb; without it, times are taken from the camera's own steps.",
  },
  manualFocus: {
    title: "Focus manual",
    why: "Autofocus hunts in the dark and loses the stars.",
    howToMend: "Set lens and body to manual focus, focus on a star, tape the ring.",
  },
  noiseReductionOff: {
    title: "In-camera noise reductions off",
    why: "Else the camera is busy as long again after every frame.",
    howToMend: "Switch off long-exposure and high-ISO noise reduction in the camera's menu.",
  },
  rawFormat: {
    title: "Raw, or raw and JPEG",
    why: "Only raw keeps the shadows and colours of a night for later.",
    howToMend: "Choose raw, or raw with a small JPEG, as the image format.",
  },
  clockRight: {
    title: "Clock right",
    why: "Frames are matched with the plan, and with other cameras, by their time.",
    howToMend: "Let the program set the camera's clock, or set it by hand.",
  },
  battery: {
    title: "Battery full",
    why: `${coldBatteryText()}; a night begins with a full one.`,
    howToMend: "Put in a charged battery, or feed the camera from outside.",
  },
  freeSpace: {
    title: "Room on the card",
    why: "A full card ends the night, often at its best moment.",
    howToMend: "Put in an empty card, large enough for the night.",
  },
  standbyOff: {
    title: "Standby off",
    why: "A camera that falls asleep between frames misses the next one.",
    howToMend: "Switch the camera's automatic standby off, or set it to its longest.",
  },
};

const HAND_WORDS: Readonly<Record<HandItemId, Words>> = {
  tripodFirm: {
    title: "Tripod low and firm",
    why: "Wind moves a tall tripod; snow and moss give way under it all night.",
    howToMend: "Press the feet down to hard ground, keep it low, hang a weight on it.",
  },
  thinLegsIn: {
    title: "Thin leg sections in",
    why: "The thinnest sections bend the most.",
    howToMend: "Extend the thick sections only.",
  },
  centreColumnDown: {
    title: "Centre column down",
    why: "A raised column swings like a mast.",
    howToMend: "Lower it all the way and lock it.",
  },
  stabiliserOff: {
    title: "Stabiliser off",
    why: "On a tripod it drifts during a long exposure.",
    howToMend: "Switch it off on the lens and in the body.",
  },
  strapTied: {
    title: "Strap tied",
    why: "A strap in the wind shakes the camera, and catches a foot.",
    howToMend: "Take it off or tie it down.",
  },
  lensHeaterOn: {
    title: "Lens heater on",
    why: "Open glass gets colder than the air: dew or frost ends the night unseen.",
    howToMend: "Wrap the heater just behind the front glass and switch it on before it is needed.",
  },
  spareBatteryWarm: {
    title: "Spare battery warm",
    why: `A warm battery gives its full charge. ${coldBatteryText()}.`,
    howToMend: "Carry it in an inner pocket.",
  },
  facingPole: {
    title: "Facing as the plan says",
    why: "Arcs first rise on the side of the magnetic pole, or where the oval stands.",
    howToMend: "Turn to the plan's bearing; a compass needle needs the declination taken off.",
  },
  noTownLight: {
    title: "No town light in the frame",
    why: "A lamp clips, flares, and pulls every frame's colour.",
    howToMend: "Move a few steps behind a tree or a rise, or turn the frame.",
  },
  somebodyKnows: {
    title: "Somebody knows where you are",
    why: "Cold, ice and dark forgive little when nobody comes looking.",
    howToMend: "Tell somebody the place and the hour you will be back.",
  },
};

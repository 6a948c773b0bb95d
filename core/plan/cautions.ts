import type { PlanCold } from "./cold.ts";

/** The step of the evening at which a caution is shown. */
export type CautionStep =
  "travel" | "setUp" | "focus" | "release" | "power" | "watch" | "dawn" | "packUp";

/** A short word of warning where it belongs. */
export type Caution = {
  readonly id: CautionId;
  readonly step: CautionStep;
  readonly title: string;
  readonly text: string;
  /** True when tonight's numbers make it pressing. */
  readonly isPressing: boolean;
};

/** What a caution is about; ticks and icons go by it. */
export type CautionId =
  | "cold"
  | "ice"
  | "roads"
  | "land"
  | "tellSomeone"
  | "lights"
  | "sun"
  | "power"
  | "cables"
  | "metal";

/** Shown below every list of cautions. */
export const CAUTIONS_DEFER =
  "Local rules, warnings and licensed practice come before anything this program says.";

/**
 * The cautions of a night, those that tonight's numbers make pressing first.
 *
 * Sources: wind chill and frostbite times beside `windChillC` and `frostbiteAt`; the rest common
 * practice, no source.
 */
export function cautionsOf({ cold }: { readonly cold: PlanCold }): readonly Caution[] {
  const all = [...goingOut(cold), ...atTheTripod(), ...electric(cold)];
  return [...all.filter(({ isPressing }) => isPressing), ...all.filter((c) => !c.isPressing)];
}

function goingOut(cold: PlanCold): readonly Caution[] {
  const isFreezing = cold.temperatureC <= 2;
  return [
    {
      id: "cold",
      step: "watch",
      title: "Cold",
      text:
        `${cold.sentence} Dress for standing still, cover all skin, keep a warm place within reach; ` +
        "numb or white skin means go in now.",
      isPressing: cold.frostbite.minutes !== null,
    },
    {
      id: "ice",
      step: "setUp",
      title: "Ice and water",
      text:
        "Look at shore, ice and cliff edges by daylight. Stay off ice that nobody local has " +
        "called safe, and away from waves and tide in the dark.",
      isPressing: isFreezing,
    },
    {
      id: "roads",
      step: "travel",
      title: "Roads",
      text:
        "Park off the road, not on its shoulder; keep lights off the tripod but be seen yourself: " +
        "reflective vest. Expect black ice and animals on the way home, and do not drive tired.",
      isPressing: isFreezing,
    },
    {
      id: "land",
      step: "setUp",
      title: "Private land",
      text: "Ask before you enter, leave gates and snow fences as found, keep clear of homes and herds.",
      isPressing: false,
    },
    {
      id: "tellSomeone",
      step: "travel",
      title: "Tell somebody",
      text: "Somebody knows where you are and when you are back; carry a charged phone kept warm.",
      isPressing: false,
    },
  ];
}

function atTheTripod(): readonly Caution[] {
  return [
    {
      id: "lights",
      step: "focus",
      title: "Torches and lasers",
      text:
        "Never point a torch or a laser at people, vehicles or aircraft. Focus on a star instead; " +
        "where lasers are restricted, leave it at home.",
      isPressing: false,
    },
    {
      id: "sun",
      step: "dawn",
      title: "The Sun on the lens",
      text: "The watch ends before sunrise. Cap the lens then: the Sun burns shutter and sensor.",
      isPressing: false,
    },
    {
      id: "metal",
      step: "packUp",
      title: "Bare metal and warm rooms",
      text:
        "Cold metal sticks to bare skin within seconds: gloves on. Take the camera in closed up in " +
        "its bag and let it warm up there, or it will be wet inside.",
      isPressing: false,
    },
  ];
}

function electric(cold: PlanCold): readonly Caution[] {
  return [
    {
      id: "power",
      step: "power",
      title: "Power",
      text:
        "Only equipment made for outdoors on mains, behind a residual-current device, kept off snow " +
        "and water. Do not charge lithium batteries below 0 °C; keep spares in an inner pocket.",
      isPressing: cold.temperatureC <= -15,
    },
    {
      id: "cables",
      step: "release",
      title: "Release cables",
      text:
        "Galvanic isolation (relay or optocoupler), no foreign voltage on the contact, as the " +
        "maker's manual says; lay cables where nobody trips, stiff ones break in the cold.",
      isPressing: false,
    },
  ];
}

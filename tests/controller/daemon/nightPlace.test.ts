import { describe, expect, it } from "vitest";
import { Catalogue } from "../../../controller/archive/catalogue.ts";
import { createNightFolder, nightInfoOf } from "../../../controller/archive/nightFolder.ts";
import type { NightInfo } from "../../../controller/archive/nightInfo.ts";
import { NightPlace } from "../../../controller/daemon/nightPlace.ts";
import { utcMs } from "../../../core/units.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const NOWHERE: NightInfo = {
  name: "night",
  startUtcMs: utcMs(Date.UTC(2027, 2, 24, 18)),
  latitudeDeg: 0,
  longitudeDeg: 0,
  placeName: "place not given",
  isRehearsal: false,
};
const SENSED = { latitudeDeg: 68.9, longitudeDeg: 27, elevationM: 212 };

function nightAt(info: NightInfo) {
  const catalogue = Catalogue.create(createNightFolder(temporaryFolder(), info), info);
  return { catalogue, info };
}

describe("a night's place", () => {
  it("is the one given by hand, height included, whatever a receiver says", () => {
    const night = nightAt({ ...NOWHERE, latitudeDeg: 64, longitudeDeg: 20 });
    const place = new NightPlace({ "elevation-m": 40 }, night);
    expect(place.learn(SENSED)).toBe(false);
    expect(place.place).toEqual({ latitudeDeg: 64, longitudeDeg: 20, elevationM: 40 });
    night.catalogue.close();
  });

  it("that was not given is learned once from a receiver, and written down", () => {
    const night = nightAt(NOWHERE);
    const place = new NightPlace({ "elevation-m": null }, night);
    expect(place.place).toBeNull();
    expect(place.learn(SENSED)).toBe(true);
    expect(place.learn({ ...SENSED, latitudeDeg: 70 })).toBe(false);
    expect(place.place).toEqual(SENSED);
    expect(nightInfoOf(night.catalogue)).toEqual({
      ...NOWHERE,
      ...{ latitudeDeg: 68.9, longitudeDeg: 27, elevationM: 212, placeName: "68.90, 27.00" },
    });
    night.catalogue.close();
  });

  it("is not needed where no night is watched", () => {
    expect(new NightPlace({ "elevation-m": null }, null).learn(SENSED)).toBe(false);
  });
});

import { describe, expect, it } from "vitest";
import {
  expectFrame,
  mixByRecord,
  recordAfter,
  startForecastRecord,
  type ForecastRecord,
} from "../../../core/exposure/forecastRecord.ts";
import { createRandom } from "../../../core/random.ts";

/** Two forecasters whose errors scatter by so many stops about a level of 0, frame after frame. */
function experience(bankStops: number, plainStops: number, frames: number): ForecastRecord {
  const random = createRandom(`${bankStops} ${plainStops}`);
  let record = startForecastRecord();
  for (let frameIndex = 0; frameIndex < frames; frameIndex += 1) {
    const bank = { level: bankStops * random.normal(), spread: 0.05 };
    record = expectFrame(record, {
      frameIndex,
      bank,
      plainLevel: plainStops * random.normal(),
    });
    record = recordAfter(record, frameIndex, 0);
  }
  return record;
}

const bank = { level: 1, spread: 0.05 };

describe("the record of the forecasts", () => {
  it("believes the bank before anything has been seen", () => {
    expect(mixByRecord(startForecastRecord(), bank, 0)).toEqual(bank);
  });

  it("leaves nearly all of the word to the bank when it errs a quarter as much", () => {
    expect(mixByRecord(experience(0.02, 0.08, 200), bank, 0).level).toBeGreaterThan(0.9);
  });

  it("leaves nearly all of the word to the newest reading when that errs a quarter as much", () => {
    expect(mixByRecord(experience(0.08, 0.02, 200), bank, 0).level).toBeLessThan(0.15);
  });

  it("shares by the errors' squares: half each when both err alike", () => {
    const { level } = mixByRecord(experience(0.05, 0.05, 300), bank, 0);
    expect(level).toBeGreaterThan(0.4);
    expect(level).toBeLessThan(0.65);
  });

  it("learns nothing from a step of three stops that neither could foresee", () => {
    const before = experience(0.05, 0.05, 50);
    const expected = { frameIndex: 50, bank: { level: 0, spread: 0.05 }, plainLevel: 0.04 };
    const after = recordAfter(expectFrame(before, expected), 50, 3);
    expect(after).toEqual(before);
  });

  it("judges by what was said at the order when a reading comes two frames late", () => {
    const said = (frameIndex: number, level: number) => ({
      frameIndex,
      bank: { level, spread: 0.05 },
      plainLevel: 0.1,
    });
    const late = expectFrame(expectFrame(startForecastRecord(), said(0, 0.02)), said(1, 9));
    const { bankSquares, plainSquares } = recordAfter(late, 0, 0);
    expect(bankSquares).toBeCloseTo((0.02 / 0.05) ** 2, 9);
    expect(plainSquares).toBeCloseTo((0.1 / 0.05) ** 2, 9);
  });

  it("passes over a frame that was never ordered, and gives up frames whose reading never came", () => {
    let record = startForecastRecord();
    expect(recordAfter(record, 7, 0)).toBe(record);
    for (let frameIndex = 0; frameIndex < 50; frameIndex += 1) {
      record = expectFrame(record, { frameIndex, bank, plainLevel: 0 });
    }
    expect(record.pending.length).toBeLessThanOrEqual(4);
  });
});

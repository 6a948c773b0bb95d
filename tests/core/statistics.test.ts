import { describe, expect, it } from "vitest";
import {
  medianOf,
  medianOfRising,
  middleOf,
  nearestRankOf,
  quantileOf,
  valueAtShare,
  valueAtShareOfRising,
  weightedMedianOf,
  weightedMiddleOf,
} from "../../core/statistics.ts";

describe("the median", () => {
  it("is the mean of the middle two of four, and passes over what is not finite", () => {
    expect(medianOf([9, 1, NaN, 3, 5])).toBe(4);
    expect(medianOfRising([1, 3, 5, 9])).toBe(4);
    expect(medianOf([])).toBeNaN();
  });

  it("leaves the order of what it was given", () => {
    const values = [3, 1, 2];
    medianOf(values);
    expect(values).toEqual([3, 1, 2]);
  });

  it("by weight lies where half of the weight does", () => {
    expect(weightedMedianOf([1, 2, 10], [1, 1, 8])).toBeGreaterThan(8);
    expect(weightedMedianOf([1, 2], [0, 0])).toBeNaN();
  });
});

describe("the value in the middle", () => {
  it("is the upper one of two, so that it is one that occurred", () => {
    expect(middleOf([8, 2])).toBe(8);
    expect(middleOf([9, 1, 5])).toBe(5);
    expect(middleOf([])).toBeUndefined();
  });

  it("of a typed array leaves its order", () => {
    const values = Float32Array.of(3, 1, 2);
    expect(middleOf(values)).toBe(2);
    expect([...values]).toEqual([3, 1, 2]);
  });

  it("by weight is the first one up to which half of the weight lies", () => {
    expect(weightedMiddleOf([10, 1, 2], [8, 1, 1])).toBe(10);
    expect(weightedMiddleOf([2, 1], [1, 1])).toBe(1);
    expect(weightedMiddleOf([], [])).toBeUndefined();
  });
});

describe("the value at a share", () => {
  it("is the 96th of 100 at 0.95, and the last one at 1", () => {
    const values = Array.from({ length: 100 }, (_, index) => 100 - index);
    expect(valueAtShare(values, 0.95)).toBe(96);
    expect(valueAtShare(values, 1)).toBe(100);
    expect(valueAtShareOfRising([1, 2, 3, 4], 0.25)).toBe(2);
    expect(valueAtShare([], 0.5)).toBeUndefined();
  });
});

describe("a quantile", () => {
  it("lies between the values by its share", () => {
    expect(quantileOf([0, 10, 20], 0.25)).toBe(5);
    expect(quantileOf([], 0.5)).toBeNaN();
  });

  // Source: the nearest-rank definition, the ⌈share · n⌉th smallest; common practice.
  it("by the nearest rank is the 95th of 100 and the first at a share of 0", () => {
    const values = Array.from({ length: 100 }, (_, index) => 100 - index);
    expect(nearestRankOf(values, 0.95)).toBe(95);
    expect(nearestRankOf(values, 0)).toBe(1);
    expect(nearestRankOf([], 0.5)).toBe(0);
  });
});

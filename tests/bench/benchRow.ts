/** One measured figure beside the thing it is compared with, taken in the same run. */
export type BenchRow = {
  /** Which bench it belongs to. */
  readonly group: string;
  readonly name: string;
  readonly value: number;
  readonly unit: string;
  /** What the comparison is, and its own figure in the same unit. */
  readonly comparedWith: string;
  readonly comparedValue: number;
  /** value / comparedValue. */
  readonly ratio: number;
  readonly note?: string;
};

import { dataset, type FieldValues } from "../dataset.ts";
import { string, uint16, uint32, uint64 } from "../dataTypes.ts";

const fields = {
  /** 0 undefined, 1 fixed ROM, 2 removable ROM, 3 fixed RAM, 4 removable RAM. */
  storageType: uint16,
  /** 0 undefined, 1 generic flat, 2 generic hierarchical, 3 DCF. */
  filesystemType: uint16,
  /** 0 read-write, 1 read-only without delete, 2 read-only with delete. */
  accessCapability: uint16,
  maxCapacityBytes: uint64,
  freeSpaceBytes: uint64,
  freeSpaceImages: uint32,
  storageDescription: string,
  volumeLabel: string,
};

/** What a store is and how full it is. */
export type StorageInfo = FieldValues<typeof fields>;

/** The StorageInfo dataset of GetStorageInfo. Source: MTP 1.1 §5.2.2. */
export const storageInfo = dataset("StorageInfo", fields, 3);

const UNUSED_32 = 0xffffffff;
const UNUSED_64 = 0xffffffffffffffffn;

/**
 * Free bytes; null when the device does not say. The text gives 0xFFFFFFFF for that, so a card
 * with exactly 4 GiB − 1 free reads as unknown; 64 bits of ones are accepted too.
 */
export function freeBytesOf(info: StorageInfo): number | null {
  const isUnused = info.freeSpaceBytes === BigInt(UNUSED_32) || info.freeSpaceBytes === UNUSED_64;
  return isUnused ? null : Number(info.freeSpaceBytes);
}

/** Pictures that still fit, as the device estimates; null when it does not say. */
export function freeImagesOf(info: StorageInfo): number | null {
  return info.freeSpaceImages === UNUSED_32 ? null : info.freeSpaceImages;
}

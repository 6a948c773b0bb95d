import { dataset, type FieldValues } from "../dataset.ts";
import { string, uint16, uint32 } from "../dataTypes.ts";

const fields = {
  storageId: uint32,
  objectFormat: uint16,
  /** 0 none, 1 read-only. */
  protectionStatus: uint16,
  /** Bytes; 0xFFFFFFFF for 4 GiB and more. */
  objectCompressedSize: uint32,
  /** 0: there is no thumbnail (from memory, unconfirmed). */
  thumbFormat: uint16,
  thumbCompressedSize: uint32,
  thumbPixWidth: uint32,
  thumbPixHeight: uint32,
  imagePixWidth: uint32,
  imagePixHeight: uint32,
  imageBitDepth: uint32,
  /** Handle of the folder; 0: the root. */
  parentObject: uint32,
  /** Folders only: 1 generic folder. */
  associationType: uint16,
  associationDesc: uint32,
  sequenceNumber: uint32,
  /** No path; as the device wrote it, so it is not yet fit for a disk. */
  filename: string,
  captureDate: string,
  modificationDate: string,
  keywords: string,
};

/** What an object is: a picture, another file, or a folder. */
export type ObjectInfo = FieldValues<typeof fields>;

/** The ObjectInfo dataset of GetObjectInfo and SendObjectInfo. Source: MTP 1.1 §5.3.1. */
export const objectInfo = dataset("ObjectInfo", fields, 4);

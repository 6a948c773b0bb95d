import type { ObjectInfo } from "../../core/ptp/datasets/objectInfo.ts";
import type { StorageInfo } from "../../core/ptp/datasets/storageInfo.ts";
import { FORMATS } from "../../core/ptp/formats.ts";
import { objectHandle, type ObjectHandle } from "../../core/ptp/ids.ts";
import { THUMBNAIL_HEIGHT_PX, THUMBNAIL_WIDTH_PX } from "./picture.ts";

/** The one store: first physical slot, first logical store. */
export const STORAGE_ID = 0x00010001;

/** A file or folder on the card. */
export type StoredObject = {
  readonly handle: ObjectHandle;
  /** 0: the root. */
  readonly parent: ObjectHandle;
  readonly kind: "folder" | "picture";
  readonly name: string;
  readonly bytes: number;
  readonly thumbnail: Uint8Array;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly sequenceNumber: number;
  /** As the protocol writes it. */
  readonly captureDate: string;
  readonly isProtected: boolean;
};

/** What a new picture is stored with. */
type NewPicture = Pick<
  StoredObject,
  "bytes" | "thumbnail" | "widthPx" | "heightPx" | "captureDate"
>;

/** Card blocks: what a file really takes. */
const BLOCK_BYTES = 32_768;
/** Files in one folder and folders on one card end at these numbers. Source: DCF 2.0, from memory. */
const FILE_NUMBER_MAX = 9999;
const FOLDER_NUMBER_MAX = 999;

/** The card's directory: which objects there are and how much room is left. Knows no files. */
export class Store {
  readonly #capacityBytes: number;
  readonly #objects = new Map<ObjectHandle, StoredObject>();
  #usedBytes = 0;
  #nextHandle = 1;
  #folder: StoredObject | null = null;
  #root: StoredObject | null = null;
  #folderNumber = 100;
  #fileNumber = 0;
  #sequenceNumber = 0;
  /** Set by a fault: whatever the directory says, there is no room. */
  isForcedFull = false;
  #typicalBytes: number;

  constructor(options: { readonly capacityBytes: number; readonly typicalBytes: number }) {
    this.#capacityBytes = options.capacityBytes;
    this.#typicalBytes = options.typicalBytes;
    this.#makeFolders("");
  }

  get freeBytes(): number {
    return this.isForcedFull ? 0 : Math.max(0, this.#capacityBytes - this.#usedBytes);
  }

  hasRoom(bytes: number): boolean {
    return onCard(bytes) <= this.freeBytes;
  }

  /** Whether a picture of the usual size would fit. */
  hasRoomForPicture(): boolean {
    return this.hasRoom(this.#typicalBytes);
  }

  get(handle: number): StoredObject | null {
    return this.#objects.get(handle as ObjectHandle) ?? null;
  }

  /** In the order of their making. */
  list(): readonly StoredObject[] {
    return [...this.#objects.values()];
  }

  children(parent: number): readonly StoredObject[] {
    return this.list().filter((object) => object.parent === parent);
  }

  /** The path of an object below the card's root, as in `DCIM/100NIGHT/NATT0001.JPG`. */
  pathOf(object: StoredObject): string {
    const parent = this.get(object.parent);
    return parent === null ? object.name : `${this.pathOf(parent)}/${object.name}`;
  }

  /** The name that the next picture gets, with its folder. */
  nextPath(): string {
    const { folderNumber, fileNumber } = this.#nextNumbers();
    return `DCIM/${folderName(folderNumber)}/${fileName(fileNumber)}`;
  }

  /** Enters a picture under the next name. */
  add(picture: NewPicture): StoredObject {
    const { folderNumber, fileNumber } = this.#nextNumbers();
    if (this.#root === null || folderNumber !== this.#folderNumber || this.#folder === null) {
      this.#folderNumber = folderNumber;
      this.#makeFolders(picture.captureDate);
    }
    this.#fileNumber = fileNumber;
    this.#sequenceNumber += 1;
    this.#typicalBytes += (picture.bytes - this.#typicalBytes) / 8;
    return this.#enter({
      ...picture,
      kind: "picture",
      name: fileName(fileNumber),
      parent: this.#folder!.handle,
      sequenceNumber: this.#sequenceNumber,
      isProtected: false,
    });
  }

  protect(handle: ObjectHandle, isProtected: boolean): void {
    const object = this.#objects.get(handle);
    if (object !== undefined) this.#objects.set(handle, { ...object, isProtected });
  }

  remove(handle: ObjectHandle): void {
    const object = this.#objects.get(handle);
    if (object === undefined) return;
    this.#objects.delete(handle);
    this.#usedBytes -= onCard(object.bytes);
    if (object === this.#folder) this.#folder = null;
    if (object === this.#root) this.#root = this.#folder = null;
  }

  /** Formats: everything goes, the folders are made again, file numbers go on. */
  clear(captureDate: string): void {
    this.#objects.clear();
    this.#usedBytes = 0;
    this.#root = this.#folder = null;
    this.#makeFolders(captureDate);
  }

  storageInfo(): StorageInfo {
    const free = this.freeBytes;
    return {
      storageType: 4,
      filesystemType: 3,
      accessCapability: 0,
      maxCapacityBytes: BigInt(this.#capacityBytes),
      freeSpaceBytes: BigInt(free),
      freeSpaceImages: Math.floor(free / onCard(this.#typicalBytes)),
      storageDescription: "Card",
      volumeLabel: "NIGHT",
    };
  }

  objectInfo(object: StoredObject): ObjectInfo {
    const hasThumbnail = object.thumbnail.byteLength > 0;
    const isFolder = object.kind === "folder";
    return {
      storageId: STORAGE_ID,
      objectFormat: isFolder ? FORMATS.Association : FORMATS.ExifJpeg,
      protectionStatus: object.isProtected ? 1 : 0,
      objectCompressedSize: object.bytes,
      thumbFormat: hasThumbnail ? FORMATS.Jfif : 0,
      thumbCompressedSize: object.thumbnail.byteLength,
      thumbPixWidth: hasThumbnail ? THUMBNAIL_WIDTH_PX : 0,
      thumbPixHeight: hasThumbnail ? THUMBNAIL_HEIGHT_PX : 0,
      imagePixWidth: object.widthPx,
      imagePixHeight: object.heightPx,
      imageBitDepth: isFolder ? 0 : 24,
      parentObject: object.parent,
      associationType: isFolder ? 1 : 0,
      associationDesc: 0,
      sequenceNumber: object.sequenceNumber,
      filename: object.name,
      captureDate: object.captureDate,
      modificationDate: object.captureDate,
      keywords: "",
    };
  }

  #nextNumbers(): { readonly folderNumber: number; readonly fileNumber: number } {
    if (this.#fileNumber < FILE_NUMBER_MAX) {
      return { folderNumber: this.#folderNumber, fileNumber: this.#fileNumber + 1 };
    }
    const folderNumber = this.#folderNumber >= FOLDER_NUMBER_MAX ? 100 : this.#folderNumber + 1;
    return { folderNumber, fileNumber: 1 };
  }

  #makeFolders(captureDate: string): void {
    this.#root ??= this.#makeFolder("DCIM", objectHandle(0), captureDate);
    this.#folder = this.#makeFolder(folderName(this.#folderNumber), this.#root.handle, captureDate);
  }

  #makeFolder(name: string, parent: ObjectHandle, captureDate: string): StoredObject {
    return this.#enter({
      parent,
      kind: "folder",
      name,
      bytes: 0,
      thumbnail: new Uint8Array(),
      widthPx: 0,
      heightPx: 0,
      sequenceNumber: 0,
      captureDate,
      isProtected: false,
    });
  }

  #enter(object: Omit<StoredObject, "handle">): StoredObject {
    const entered = { ...object, handle: objectHandle(this.#nextHandle) };
    this.#nextHandle += 1;
    this.#objects.set(entered.handle, entered);
    this.#usedBytes += onCard(object.bytes);
    return entered;
  }
}

function onCard(bytes: number): number {
  return Math.ceil(bytes / BLOCK_BYTES) * BLOCK_BYTES;
}

function folderName(number: number): string {
  return `${number}NIGHT`;
}

function fileName(number: number): string {
  return `NATT${String(number).padStart(4, "0")}.JPG`;
}

// The standard's numbers, typed in a second time on purpose: the product's own table would hide its
// own errors. Source: ISO 15740 by way of MTP 1.1, appendices A, C, D, F and G.

export const OPERATION = {
  getDeviceInfo: 0x1001,
  openSession: 0x1002,
  closeSession: 0x1003,
  getStorageIds: 0x1004,
  getStorageInfo: 0x1005,
  getNumObjects: 0x1006,
  getObjectHandles: 0x1007,
  getObjectInfo: 0x1008,
  getObject: 0x1009,
  getThumb: 0x100a,
  initiateCapture: 0x100e,
  getDevicePropDesc: 0x1014,
  getDevicePropValue: 0x1015,
  setDevicePropValue: 0x1016,
  terminateOpenCapture: 0x1018,
  getPartialObject: 0x101b,
  initiateOpenCapture: 0x101c,
} as const;

/** Operations that take something from the photographer; no night may ever ask for one. */
export const HARMFUL: ReadonlyMap<number, string> = new Map([
  [0x100b, "DeleteObject"],
  [0x100c, "SendObjectInfo"],
  [0x100d, "SendObject"],
  [0x100f, "FormatStore"],
  [0x1010, "ResetDevice"],
  [0x1012, "SetObjectProtection"],
  [0x1013, "PowerDown"],
  [0x1017, "ResetDevicePropValue"],
  [0x1019, "MoveObject"],
]);

export const RESPONSE = {
  ok: 0x2001,
  generalError: 0x2002,
  sessionNotOpen: 0x2003,
  invalidTransaction: 0x2004,
  operationNotSupported: 0x2005,
  invalidStorage: 0x2008,
  invalidObject: 0x2009,
  propertyNotSupported: 0x200a,
  storeFull: 0x200c,
  accessDenied: 0x200f,
  noThumbnail: 0x2010,
  storeNotAvailable: 0x2013,
  captureAlreadyTerminated: 0x2018,
  deviceBusy: 0x2019,
  invalidPropertyFormat: 0x201b,
  invalidPropertyValue: 0x201c,
  invalidParameter: 0x201d,
  sessionAlreadyOpen: 0x201e,
} as const;

export const EVENT = {
  objectAdded: 0x4002,
  devicePropChanged: 0x4006,
  captureComplete: 0x400d,
  unreportedStatus: 0x400e,
} as const;

export const PROPERTY = {
  batteryLevel: 0x5001,
  imageSize: 0x5003,
  whiteBalance: 0x5005,
  fNumber: 0x5007,
  focusMode: 0x500a,
  flashMode: 0x500c,
  exposureTime: 0x500d,
  exposureProgram: 0x500e,
  exposureIndex: 0x500f,
  exposureBias: 0x5010,
  dateTime: 0x5011,
  stillCaptureMode: 0x5013,
} as const;

/** Integer datatypes by their width in bits; the text type. */
export const DATATYPE = { 8: 0x0002, 16: 0x0004, 32: 0x0006, 64: 0x0008, text: 0xffff } as const;
export type Width = 8 | 16 | 32 | 64;

export const FORMAT = {
  folder: 0x3001,
  jpeg: 0x3801,
  undefinedImage: 0x3800,
  dng: 0x3811,
  heif: 0x3812,
} as const;

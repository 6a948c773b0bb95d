/** Response codes by the standard's names. Source: MTP 1.1 F.1; the last three, ISO 15740:2008. */
export const RESPONSES = {
  Undefined: 0x2000,
  OK: 0x2001,
  GeneralError: 0x2002,
  SessionNotOpen: 0x2003,
  InvalidTransactionID: 0x2004,
  OperationNotSupported: 0x2005,
  ParameterNotSupported: 0x2006,
  IncompleteTransfer: 0x2007,
  InvalidStorageID: 0x2008,
  InvalidObjectHandle: 0x2009,
  DevicePropNotSupported: 0x200a,
  InvalidObjectFormatCode: 0x200b,
  StoreFull: 0x200c,
  ObjectWriteProtected: 0x200d,
  StoreReadOnly: 0x200e,
  AccessDenied: 0x200f,
  NoThumbnailPresent: 0x2010,
  SelfTestFailed: 0x2011,
  PartialDeletion: 0x2012,
  StoreNotAvailable: 0x2013,
  SpecificationByFormatUnsupported: 0x2014,
  NoValidObjectInfo: 0x2015,
  InvalidCodeFormat: 0x2016,
  UnknownVendorCode: 0x2017,
  CaptureAlreadyTerminated: 0x2018,
  DeviceBusy: 0x2019,
  InvalidParentObject: 0x201a,
  InvalidDevicePropFormat: 0x201b,
  InvalidDevicePropValue: 0x201c,
  InvalidParameter: 0x201d,
  SessionAlreadyOpen: 0x201e,
  TransactionCancelled: 0x201f,
  SpecificationOfDestinationUnsupported: 0x2020,
  InvalidEnumHandle: 0x2021,
  NoStreamEnabled: 0x2022,
  InvalidDataSet: 0x2023,
} as const;

const NAMES: ReadonlyMap<number, string> = new Map(
  Object.entries(RESPONSES).map(([name, code]) => [code, name]),
);

/** The standard's name of a response code, or its number: devices invent codes. */
export function responseName(code: number): string {
  return NAMES.get(code) ?? `response 0x${code.toString(16).padStart(4, "0")}`;
}

import { PROFILE_OPERATIONS } from "../profiles/harmlessOperations.ts";

/** Which way an operation's data goes: responder to initiator, initiator to responder, or none. */
type DataPhase = "none" | "toInitiator" | "toResponder";

/** An operation, declared once. */
export type Operation = {
  readonly code: number;
  readonly name: string;
  /** Names of the parameters in order, as in the standard. */
  readonly parameters: readonly string[];
  readonly dataPhase: DataPhase;
};

function operation(
  code: number,
  name: string,
  dataPhase: DataPhase,
  ...parameters: readonly string[]
): Operation {
  return { code, name, parameters, dataPhase };
}

/** The operations by the standard's names. Source: MTP 1.1 App. D; 0x101C is InitiateOpenCapture. */
export const OPERATIONS = {
  GetDeviceInfo: operation(PROFILE_OPERATIONS.GetDeviceInfo, "GetDeviceInfo", "toInitiator"),
  OpenSession: operation(0x1002, "OpenSession", "none", "SessionID"),
  CloseSession: operation(0x1003, "CloseSession", "none"),
  GetStorageIDs: operation(0x1004, "GetStorageIDs", "toInitiator"),
  GetStorageInfo: operation(0x1005, "GetStorageInfo", "toInitiator", "StorageID"),
  GetNumObjects: operation(
    0x1006,
    "GetNumObjects",
    "none",
    "StorageID",
    "ObjectFormatCode",
    "Association",
  ),
  GetObjectHandles: operation(
    0x1007,
    "GetObjectHandles",
    "toInitiator",
    "StorageID",
    "ObjectFormatCode",
    "Association",
  ),
  GetObjectInfo: operation(0x1008, "GetObjectInfo", "toInitiator", "ObjectHandle"),
  GetObject: operation(0x1009, "GetObject", "toInitiator", "ObjectHandle"),
  GetThumb: operation(0x100a, "GetThumb", "toInitiator", "ObjectHandle"),
  DeleteObject: operation(0x100b, "DeleteObject", "none", "ObjectHandle", "ObjectFormatCode"),
  SendObjectInfo: operation(0x100c, "SendObjectInfo", "toResponder", "StorageID", "ParentObject"),
  SendObject: operation(0x100d, "SendObject", "toResponder"),
  InitiateCapture: operation(
    PROFILE_OPERATIONS.InitiateCapture,
    "InitiateCapture",
    "none",
    "StorageID",
    "ObjectFormatCode",
  ),
  FormatStore: operation(0x100f, "FormatStore", "none", "StorageID", "FilesystemFormat"),
  ResetDevice: operation(0x1010, "ResetDevice", "none"),
  SelfTest: operation(0x1011, "SelfTest", "none", "SelfTestType"),
  SetObjectProtection: operation(
    0x1012,
    "SetObjectProtection",
    "none",
    "ObjectHandle",
    "ProtectionStatus",
  ),
  PowerDown: operation(0x1013, "PowerDown", "none"),
  GetDevicePropDesc: operation(
    PROFILE_OPERATIONS.GetDevicePropDesc,
    "GetDevicePropDesc",
    "toInitiator",
    "DevicePropCode",
  ),
  GetDevicePropValue: operation(
    PROFILE_OPERATIONS.GetDevicePropValue,
    "GetDevicePropValue",
    "toInitiator",
    "DevicePropCode",
  ),
  SetDevicePropValue: operation(
    PROFILE_OPERATIONS.SetDevicePropValue,
    "SetDevicePropValue",
    "toResponder",
    "DevicePropCode",
  ),
  ResetDevicePropValue: operation(0x1017, "ResetDevicePropValue", "none", "DevicePropCode"),
  TerminateOpenCapture: operation(
    PROFILE_OPERATIONS.TerminateOpenCapture,
    "TerminateOpenCapture",
    "none",
    "TransactionID",
  ),
  MoveObject: operation(0x1019, "MoveObject", "none", "ObjectHandle", "StorageID", "ParentObject"),
  CopyObject: operation(0x101a, "CopyObject", "none", "ObjectHandle", "StorageID", "ParentObject"),
  GetPartialObject: operation(
    0x101b,
    "GetPartialObject",
    "toInitiator",
    "ObjectHandle",
    "Offset",
    "MaxBytes",
  ),
  InitiateOpenCapture: operation(
    PROFILE_OPERATIONS.InitiateOpenCapture,
    "InitiateOpenCapture",
    "none",
    "StorageID",
    "ObjectFormatCode",
  ),
} as const;

const BY_CODE: ReadonlyMap<number, Operation> = new Map(
  Object.values(OPERATIONS).map((declared) => [declared.code, declared]),
);

/** The operation with this code; null when it is not one of the standard's that we know. */
export function operationOf(code: number): Operation | null {
  return BY_CODE.get(code) ?? null;
}

/** The standard's declaration of a code, or one for a maker's own code, whose data goes this way. */
export function operationOfCode(code: number, dataPhase: DataPhase): Operation {
  return operationOf(code) ?? { code, name: operationName(code), parameters: [], dataPhase };
}

/** The operation's name, or its number: devices invent codes. */
function operationName(code: number): string {
  return BY_CODE.get(code)?.name ?? `operation 0x${code.toString(16).padStart(4, "0")}`;
}

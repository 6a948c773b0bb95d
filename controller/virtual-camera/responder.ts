import { NightError } from "../../core/errors.ts";
import { deviceInfo } from "../../core/ptp/datasets/deviceInfo.ts";
import {
  decodePropertyValue,
  encodeDevicePropDesc,
  encodePropertyValue,
} from "../../core/ptp/datasets/devicePropDesc.ts";
import { encodeHandles } from "../../core/ptp/datasets/handles.ts";
import { objectInfo } from "../../core/ptp/datasets/objectInfo.ts";
import { storageInfo } from "../../core/ptp/datasets/storageInfo.ts";
import { EVENTS } from "../../core/ptp/events.ts";
import { FORMATS, isFormatCode } from "../../core/ptp/formats.ts";
import { ALL, transactionId, type TransactionId } from "../../core/ptp/ids.ts";
import { operationOf, OPERATIONS } from "../../core/ptp/operations.ts";
import {
  exposureIndex,
  exposureProgramMode,
  exposureTime,
  fNumber,
} from "../../core/ptp/properties.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import type { VirtualCamera } from "./virtualCamera.ts";
import { STORAGE_ID, type StoredObject } from "./store.ts";

/** One operation as a transport has received it, its data phase included. */
export type ResponderRequest = {
  readonly code: number;
  readonly transactionId: TransactionId;
  readonly parameters: readonly number[];
  /** What the host sent; null: no data phase from the host. */
  readonly data: Uint8Array | null;
};

/** What the transport is to send back: the data phase, if there is one, then the response. */
type ResponderAnswer = {
  readonly code: number;
  readonly parameters: readonly number[];
  readonly data: Uint8Array | null;
  /** To be called when the response has been sent. */
  readonly afterwards: (() => void) | null;
};

/** An event for the host. */
export type ResponderEvent = {
  readonly code: number;
  readonly transactionId: TransactionId;
  readonly parameters: readonly number[];
};

/** The transaction of an event that belongs to none. Source: PIMA 15740, from memory, unconfirmed. */
const UNRELATED = transactionId(0xffffffff);

/** What the camera can do, in the order of DeviceInfo. */
const ALWAYS_SUPPORTED = [
  OPERATIONS.GetDeviceInfo,
  OPERATIONS.OpenSession,
  OPERATIONS.CloseSession,
  OPERATIONS.GetStorageIDs,
  OPERATIONS.GetStorageInfo,
  OPERATIONS.GetNumObjects,
  OPERATIONS.GetObjectHandles,
  OPERATIONS.GetObjectInfo,
  OPERATIONS.GetObject,
  OPERATIONS.GetThumb,
  OPERATIONS.DeleteObject,
  OPERATIONS.InitiateCapture,
  OPERATIONS.FormatStore,
  OPERATIONS.ResetDevice,
  OPERATIONS.SetObjectProtection,
  OPERATIONS.PowerDown,
  OPERATIONS.GetDevicePropDesc,
  OPERATIONS.GetDevicePropValue,
  OPERATIONS.SetDevicePropValue,
  OPERATIONS.ResetDevicePropValue,
  OPERATIONS.GetPartialObject,
].map((operation) => operation.code);
const BULB = [OPERATIONS.TerminateOpenCapture.code, OPERATIONS.InitiateOpenCapture.code];

const EVENTS_SUPPORTED = [
  EVENTS.CancelTransaction,
  EVENTS.ObjectAdded,
  EVENTS.DevicePropChanged,
  EVENTS.StoreFull,
  EVENTS.CaptureComplete,
  EVENTS.UnreportedStatus,
];

type Handler = (request: ResponderRequest) => ResponderAnswer | Promise<ResponderAnswer>;

/**
 * The camera's side of the protocol for one connected host, whatever the transport: operations in,
 * data, responses and events out. It knows no sockets and no USB.
 */
export class Responder {
  readonly #camera: VirtualCamera;
  readonly #onEvent: (event: ResponderEvent) => void;
  readonly #supported: readonly number[];
  readonly #handlers: ReadonlyMap<number, Handler>;
  readonly #stopListening: () => void;
  #sessionId: number | null = null;
  #sessionNumber = 0;
  #lastTransaction = 0;

  /** @param onEvent  Called with every event while a session is open. */
  constructor(camera: VirtualCamera, onEvent: (event: ResponderEvent) => void) {
    this.#camera = camera;
    this.#onEvent = onEvent;
    this.#supported = camera.settings.hasBulb ? [...ALWAYS_SUPPORTED, ...BULB] : ALWAYS_SUPPORTED;
    this.#handlers = this.#listHandlers();
    this.#stopListening = camera.onEvent((event) => {
      if (this.#sessionId === null) return;
      const isOurs = event.sessionNumber === this.#sessionNumber;
      const id = isOurs && event.transactionId !== null ? event.transactionId : UNRELATED;
      this.#onEvent({ code: event.code, transactionId: id, parameters: event.parameters });
    });
  }

  /** Whether the host sends data with this operation. */
  takesData(code: number): boolean {
    return this.#supported.includes(code) && operationOf(code)?.dataPhase === "toResponder";
  }

  /** Carries out one operation. The transport asks for one at a time. */
  async handle(request: ResponderRequest): Promise<ResponderAnswer> {
    const operation = operationOf(request.code);
    const handler = this.#handlers.get(request.code);
    if (operation === null || handler === undefined || !this.#supported.includes(request.code)) {
      return respond(RESPONSES.OperationNotSupported);
    }
    const wrong = this.#checkTransaction(request);
    if (wrong !== null) return wrong;
    const surplus = request.parameters.slice(operation.parameters.length);
    if (surplus.some((value) => value !== 0)) return respond(RESPONSES.ParameterNotSupported);
    if (operation.dataPhase === "toResponder" && request.data === null) {
      return respond(RESPONSES.IncompleteTransfer);
    }
    try {
      return await handler(request);
    } catch (thrown) {
      // A camera that fails inside says so and goes on; the cause is for the person who runs it.
      this.#camera.report(`operation 0x${request.code.toString(16)} failed: ${String(thrown)}`);
      return respond(RESPONSES.GeneralError);
    }
  }

  /** The host is gone, or the transport resets: the session ends, an open shutter soon closes. */
  detach(): void {
    this.#endSession();
    this.#stopListening();
  }

  #checkTransaction(request: ResponderRequest): ResponderAnswer | null {
    const { code } = request;
    if (code === OPERATIONS.OpenSession.code) return null;
    if (this.#sessionId === null) {
      const isAllowed = code === OPERATIONS.GetDeviceInfo.code;
      return isAllowed ? null : respond(RESPONSES.SessionNotOpen);
    }
    const id = request.transactionId as number;
    // Numbers rise by one and wrap; one that does not lie ahead has been used already.
    const aheadBy = (id - this.#lastTransaction) >>> 0;
    if (id === 0 || id === 0xffffffff || aheadBy === 0 || aheadBy > 0x80000000) {
      return respond(RESPONSES.InvalidTransactionID);
    }
    this.#lastTransaction = id;
    return null;
  }

  #endSession(): void {
    if (this.#sessionId === null) return;
    this.#sessionId = null;
    this.#camera.capture.orphan();
  }

  #listHandlers(): ReadonlyMap<number, Handler> {
    return new Map<number, Handler>([
      [OPERATIONS.GetDeviceInfo.code, () => this.#getDeviceInfo()],
      [OPERATIONS.OpenSession.code, (request) => this.#openSession(request)],
      [OPERATIONS.CloseSession.code, () => this.#closeSession()],
      [OPERATIONS.GetStorageIDs.code, () => withData(encodeHandles([STORAGE_ID]))],
      [OPERATIONS.GetStorageInfo.code, (request) => this.#getStorageInfo(request)],
      [OPERATIONS.GetNumObjects.code, (request) => this.#getNumObjects(request)],
      [OPERATIONS.GetObjectHandles.code, (request) => this.#getObjectHandles(request)],
      [OPERATIONS.GetObjectInfo.code, (request) => this.#getObjectInfo(request)],
      [OPERATIONS.GetObject.code, (request) => this.#getObject(request)],
      [OPERATIONS.GetThumb.code, (request) => this.#getThumb(request)],
      [OPERATIONS.GetPartialObject.code, (request) => this.#getPartialObject(request)],
      [OPERATIONS.DeleteObject.code, (request) => this.#deleteObject(request)],
      [OPERATIONS.SetObjectProtection.code, (request) => this.#setObjectProtection(request)],
      [OPERATIONS.FormatStore.code, (request) => this.#formatStore(request)],
      [OPERATIONS.ResetDevice.code, () => this.#resetDevice()],
      [OPERATIONS.PowerDown.code, () => this.#powerDown()],
      [OPERATIONS.GetDevicePropDesc.code, (request) => this.#getDevicePropDesc(request)],
      [OPERATIONS.GetDevicePropValue.code, (request) => this.#getDevicePropValue(request)],
      [OPERATIONS.SetDevicePropValue.code, (request) => this.#setDevicePropValue(request)],
      [OPERATIONS.ResetDevicePropValue.code, (request) => this.#resetDevicePropValue(request)],
      [OPERATIONS.InitiateCapture.code, (request) => this.#initiate("timed", request)],
      [OPERATIONS.InitiateOpenCapture.code, (request) => this.#initiate("open", request)],
      [OPERATIONS.TerminateOpenCapture.code, (request) => this.#terminate(request)],
    ]);
  }

  #getDeviceInfo(): ResponderAnswer {
    const { identity, properties } = this.#camera;
    return withData(
      deviceInfo.encode({
        standardVersion: 100,
        vendorExtensionId: 0,
        vendorExtensionVersion: 0,
        vendorExtensionDesc: "",
        functionalMode: 0,
        operationsSupported: this.#supported,
        eventsSupported: EVENTS_SUPPORTED,
        devicePropertiesSupported: properties.codes,
        captureFormats: [FORMATS.ExifJpeg],
        imageFormats: [FORMATS.ExifJpeg, FORMATS.Jfif],
        manufacturer: identity.manufacturer,
        model: identity.model,
        deviceVersion: identity.deviceVersion,
        serialNumber: identity.serialNumber,
      }),
    );
  }

  #openSession({ parameters }: ResponderRequest): ResponderAnswer {
    const wanted = parameters[0] ?? 0;
    if (wanted === 0 || wanted === 0xffffffff) return respond(RESPONSES.InvalidParameter);
    if (this.#sessionId !== null) return respond(RESPONSES.SessionAlreadyOpen, this.#sessionId);
    this.#sessionId = wanted;
    this.#sessionNumber = this.#camera.nextSessionNumber();
    this.#lastTransaction = 0;
    return respond(RESPONSES.OK);
  }

  #closeSession(): ResponderAnswer {
    this.#endSession();
    return respond(RESPONSES.OK);
  }

  #getStorageInfo({ parameters }: ResponderRequest): ResponderAnswer {
    if (parameters[0] !== STORAGE_ID) return respond(RESPONSES.InvalidStorageID);
    return withData(storageInfo.encode(this.#camera.store.storageInfo()));
  }

  #getNumObjects(request: ResponderRequest): ResponderAnswer {
    const found = this.#select(request);
    if (found.kind === "refused") return respond(found.response);
    return respond(RESPONSES.OK, found.objects.length);
  }

  #getObjectHandles(request: ResponderRequest): ResponderAnswer {
    const found = this.#select(request);
    if (found.kind === "refused") return respond(found.response);
    return withData(encodeHandles(found.objects.map((object) => object.handle)));
  }

  /** The objects that store, format and parent select, or the response that says why not. */
  #select({ parameters }: ResponderRequest): Selection {
    const [storage = 0, format = 0, parent = 0] = parameters;
    const { store } = this.#camera;
    if (storage !== ALL && storage !== STORAGE_ID) return refuse(RESPONSES.InvalidStorageID);
    if (format !== 0 && !isFormatCode(format)) return refuse(RESPONSES.InvalidCodeFormat);
    if (parent !== 0 && parent !== ALL) {
      const folder = store.get(parent);
      if (folder === null) return refuse(RESPONSES.InvalidObjectHandle);
      if (folder.kind !== "folder") return refuse(RESPONSES.InvalidParentObject);
    }
    const within = parent === 0 ? store.list() : store.children(parent === ALL ? 0 : parent);
    const objects = within.filter((object) => format === 0 || formatOf(object) === format);
    return { kind: "found", objects };
  }

  #getObjectInfo({ parameters }: ResponderRequest): ResponderAnswer {
    const object = this.#camera.store.get(parameters[0] ?? 0);
    if (object === null) return respond(RESPONSES.InvalidObjectHandle);
    return withData(objectInfo.encode(this.#camera.store.objectInfo(object)));
  }

  async #getObject({ parameters }: ResponderRequest): Promise<ResponderAnswer> {
    const object = this.#camera.store.get(parameters[0] ?? 0);
    if (object?.kind !== "picture") return respond(RESPONSES.InvalidObjectHandle);
    return withData(await this.#camera.readFile(object));
  }

  #getThumb({ parameters }: ResponderRequest): ResponderAnswer {
    const object = this.#camera.store.get(parameters[0] ?? 0);
    if (object === null) return respond(RESPONSES.InvalidObjectHandle);
    if (object.thumbnail.byteLength === 0) return respond(RESPONSES.NoThumbnailPresent);
    return withData(object.thumbnail);
  }

  async #getPartialObject({ parameters }: ResponderRequest): Promise<ResponderAnswer> {
    const [handle = 0, offset = 0, bytesMax = ALL] = parameters;
    const object = this.#camera.store.get(handle);
    if (object?.kind !== "picture") return respond(RESPONSES.InvalidObjectHandle);
    if (offset > object.bytes) return respond(RESPONSES.InvalidParameter);
    const count = Math.min(bytesMax, object.bytes - offset);
    const data = await this.#camera.readFilePart(object, offset, count);
    return { ...withData(data), parameters: [data.byteLength] };
  }

  async #deleteObject({ parameters }: ResponderRequest): Promise<ResponderAnswer> {
    const [handle = 0, format = 0] = parameters;
    const { store, capture } = this.#camera;
    if (handle !== ALL && format !== 0) return respond(RESPONSES.ParameterNotSupported);
    if (format !== 0 && !isFormatCode(format)) return respond(RESPONSES.InvalidCodeFormat);
    const object = store.get(handle);
    if (handle !== ALL && object === null) return respond(RESPONSES.InvalidObjectHandle);
    if (capture.exposing !== null) return respond(RESPONSES.DeviceBusy);
    const wanted =
      object === null
        ? store.list().filter((one) => one.kind === "picture" || format === FORMATS.Association)
        : withContents(object, (folder) => store.children(folder.handle));
    const selected = wanted.filter((one) => format === 0 || formatOf(one) === format);
    const kept = selected.filter((one) => mustStay(one, selected));
    for (const one of selected) if (!kept.includes(one)) await this.#camera.deleteFile(one);
    if (kept.length === 0) return respond(RESPONSES.OK);
    const hasDeleted = kept.length < selected.length;
    return respond(hasDeleted ? RESPONSES.PartialDeletion : RESPONSES.ObjectWriteProtected);
  }

  #setObjectProtection({ parameters }: ResponderRequest): ResponderAnswer {
    const [handle = 0, status = 0] = parameters;
    const object = this.#camera.store.get(handle);
    if (object === null) return respond(RESPONSES.InvalidObjectHandle);
    if (status > 1) return respond(RESPONSES.InvalidParameter);
    this.#camera.store.protect(object.handle, status === 1);
    return respond(RESPONSES.OK);
  }

  async #formatStore({ parameters }: ResponderRequest): Promise<ResponderAnswer> {
    const [storage = 0, filesystem = 0] = parameters;
    if (storage !== STORAGE_ID) return respond(RESPONSES.InvalidStorageID);
    if (filesystem !== 0 && filesystem !== 3) return respond(RESPONSES.InvalidParameter);
    if (this.#camera.capture.isBusy()) return respond(RESPONSES.DeviceBusy);
    await this.#camera.formatCard();
    return respond(RESPONSES.OK);
  }

  #resetDevice(): ResponderAnswer {
    if (this.#camera.capture.isBusy()) return respond(RESPONSES.DeviceBusy);
    this.#endSession();
    return respond(RESPONSES.OK);
  }

  #powerDown(): ResponderAnswer {
    if (this.#camera.capture.isBusy()) return respond(RESPONSES.DeviceBusy);
    this.#endSession();
    return { ...respond(RESPONSES.OK), afterwards: () => this.#camera.powerDown() };
  }

  #getDevicePropDesc({ parameters }: ResponderRequest): ResponderAnswer {
    const desc = this.#camera.properties.describe(parameters[0] ?? 0);
    if (desc === null) return respond(RESPONSES.DevicePropNotSupported);
    return withData(encodeDevicePropDesc(desc));
  }

  #getDevicePropValue({ parameters }: ResponderRequest): ResponderAnswer {
    const desc = this.#camera.properties.describe(parameters[0] ?? 0);
    if (desc?.kind !== "described") return respond(RESPONSES.DevicePropNotSupported);
    return withData(encodePropertyValue(desc.dataType, desc.current));
  }

  #setDevicePropValue({ parameters, data }: ResponderRequest): ResponderAnswer {
    const code = parameters[0] ?? 0;
    const desc = this.#camera.properties.describe(code);
    if (desc?.kind !== "described") return respond(RESPONSES.DevicePropNotSupported);
    if (!desc.isSettable) return respond(RESPONSES.AccessDenied);
    if (this.#camera.capture.exposing !== null || this.#camera.feelsBusy()) {
      return respond(RESPONSES.DeviceBusy);
    }
    try {
      const value = decodePropertyValue(desc.dataType, data ?? new Uint8Array());
      const outcome = this.#camera.properties.set(code, value);
      if (outcome === "ok") this.#announceCoupled(code, desc.current !== value);
      return respond(SET_RESPONSES[outcome]);
    } catch (thrown) {
      if (!(thrown instanceof NightError)) throw thrown;
      return respond(RESPONSES.InvalidDevicePropFormat);
    }
  }

  /** A new program changes which exposure values may be set, and a host is informed of that. */
  #announceCoupled(code: number, isChange: boolean): void {
    if (code !== exposureProgramMode.code || !isChange) return;
    for (const coupled of [fNumber, exposureTime, exposureIndex]) {
      this.#camera.announceProperty(coupled.code);
    }
  }

  #resetDevicePropValue({ parameters }: ResponderRequest): ResponderAnswer {
    const code = parameters[0] ?? 0;
    const { properties, capture } = this.#camera;
    if (capture.exposing !== null) return respond(RESPONSES.DeviceBusy);
    if (code !== ALL) return respond(SET_RESPONSES[properties.reset(code)]);
    for (const one of properties.codes) properties.reset(one);
    return respond(RESPONSES.OK);
  }

  #initiate(kind: "timed" | "open", request: ResponderRequest): ResponderAnswer {
    const [storage = 0, format = 0] = request.parameters;
    const { capture, store, properties } = this.#camera;
    if (storage !== 0 && storage !== STORAGE_ID) return respond(RESPONSES.InvalidStorageID);
    if (format !== 0 && !isFormatCode(format)) return respond(RESPONSES.InvalidCodeFormat);
    if (format !== 0 && format !== FORMATS.ExifJpeg) {
      return respond(RESPONSES.InvalidObjectFormatCode);
    }
    if (capture.isBusy() || this.#camera.feelsBusy()) return respond(RESPONSES.DeviceBusy);
    if (!store.hasRoomForPicture()) return respond(RESPONSES.StoreFull);
    // Bulb is a manual exposure; in another program the camera would end it as it pleases.
    if (kind === "open" && !properties.isManual) return respond(RESPONSES.AccessDenied);
    capture.open({
      kind,
      transactionId: request.transactionId,
      exposure: properties.exposure(),
      isManual: properties.isManual,
      sessionNumber: this.#sessionNumber,
    });
    return respond(RESPONSES.OK);
  }

  #terminate({ parameters }: ResponderRequest): ResponderAnswer {
    const id = parameters[0];
    if (id === undefined) return respond(RESPONSES.InvalidParameter);
    const outcome = this.#camera.capture.terminate(id, this.#sessionNumber);
    if (outcome === "closed") return respond(RESPONSES.OK);
    return respond(
      outcome === "alreadyTerminated"
        ? RESPONSES.CaptureAlreadyTerminated
        : RESPONSES.InvalidTransactionID,
    );
  }
}

const SET_RESPONSES = {
  ok: RESPONSES.OK,
  readOnly: RESPONSES.AccessDenied,
  illegal: RESPONSES.InvalidDevicePropValue,
  unknown: RESPONSES.DevicePropNotSupported,
} as const;

function respond(code: number, ...parameters: readonly number[]): ResponderAnswer {
  return { code, parameters, data: null, afterwards: null };
}

function withData(data: Uint8Array): ResponderAnswer {
  return { code: RESPONSES.OK, parameters: [], data, afterwards: null };
}

function formatOf(object: StoredObject): number {
  return object.kind === "folder" ? FORMATS.Association : FORMATS.ExifJpeg;
}

/** A folder's contents before the folder itself, so that deleting can follow the order. */
function withContents(
  object: StoredObject,
  childrenOf: (folder: StoredObject) => readonly StoredObject[],
): readonly StoredObject[] {
  return [...childrenOf(object).flatMap((child) => withContents(child, childrenOf)), object];
}

/** Protected, or a folder in which something stays. */
function mustStay(object: StoredObject, selected: readonly StoredObject[]): boolean {
  if (object.isProtected) return true;
  return selected.some((other) => other.parent === object.handle && mustStay(other, selected));
}

type Selection =
  | { readonly kind: "found"; readonly objects: readonly StoredObject[] }
  | { readonly kind: "refused"; readonly response: number };

function refuse(response: number): Selection {
  return { kind: "refused", response };
}

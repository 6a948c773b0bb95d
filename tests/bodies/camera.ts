import { ByteSink } from "./bytes.ts";
import { EVENT, HARMFUL, OPERATION, PROPERTY, RESPONSE } from "./codes.ts";
import { deviceInfo, storageInfo } from "./datasets.ts";
import { Diary, type Opening } from "./diary.ts";
import { answerMaker, MAKERS, type Answer } from "./maker.ts";
import { folderInfo, objectInfo, storedFiles, type Stored } from "./objects.ts";
import { Properties } from "./properties.ts";
import type { Traits } from "./switches.ts";

export type Call = {
  readonly operation: number;
  readonly transaction: number;
  readonly parameters: readonly number[];
  readonly data: Buffer;
};

type Emit = (code: number, transaction: number, parameters: readonly number[]) => void;

type Running = { readonly opening: Opening; readonly transaction: number };

const OK: Answer = { response: RESPONSE.ok };
const FOLDERS = ["DCIM", "100NIGHT"] as const;
const LATE_EVENTS_MS = 1500;
const SLOW_SETTING_MS = 400;
const ALL_STORES = 0xffffffff;
/** Asked of a busy body all the same: what ends an exposure, and what a session needs. */
const NEVER_BUSY = new Set<number>([
  OPERATION.getDeviceInfo,
  OPERATION.openSession,
  OPERATION.closeSession,
  OPERATION.terminateOpenCapture,
  0x90c8,
  0x920c,
  0x9126,
  0x9129,
]);
const NOW_AND_THEN = new Set<number>([
  OPERATION.initiateCapture,
  OPERATION.setDevicePropValue,
  OPERATION.getDevicePropValue,
]);

/** A body between two connections and through all of them: dials, shutter, card. */
export class MadeUpCamera {
  readonly traits: Traits;
  readonly diary = new Diary();
  readonly #luminanceCdM2: number;
  properties: Properties;
  /** Sends an event to any connected host. */
  emit: Emit = () => undefined;
  #session: number | null = null;
  #objects: Stored[] = [];
  #handlesGiven = 0;
  #filed = 0;
  #running: Running | null = null;
  #lastOpened: Running | null = null;
  #busyUntilMs = 0;
  #busyAnswers = 0;
  #openRefusals = 0;
  #fresh: Stored[] = [];
  #stored: Promise<void> = Promise.resolve();
  #changed = new Set<number>();
  readonly #timers = new Set<NodeJS.Timeout>();

  constructor(traits: Traits, luminanceCdM2: number) {
    this.traits = traits;
    this.#luminanceCdM2 = luminanceCdM2;
    this.properties = new Properties(traits);
    for (const code of this.properties.codes) this.#changed.add(code);
  }

  get isBusy(): boolean {
    return (
      performance.now() < this.#busyUntilMs ||
      (this.traits.busy.whileExposing && this.#running !== null)
    );
  }

  get objectCount(): number {
    return this.#objects.length;
  }

  /** Objects that a polling host has not been reported yet. */
  takeFresh(): readonly Stored[] {
    return this.#fresh.splice(0);
  }

  /** Properties that a polling host has not been reported yet. */
  takeChanged(): readonly number[] {
    const codes = [...this.#changed];
    this.#changed.clear();
    return codes;
  }

  /** Ends a session when the connection goes, unless this body keeps it. */
  hangUp(): void {
    if (!this.traits.rearm.keepsSession) this.#endSession();
  }

  stop(): void {
    for (const timer of this.#timers) clearTimeout(timer);
    this.#timers.clear();
  }

  async perform(call: Call): Promise<Answer> {
    const { operation } = call;
    this.diary.ask(operation);
    const answer = await this.#answer(call);
    if (answer.response !== RESPONSE.ok) {
      this.diary.refusals.push({ operation, response: answer.response, atMs: performance.now() });
    }
    return answer;
  }

  async #answer(call: Call): Promise<Answer> {
    const { operation } = call;
    const harm = HARMFUL.get(operation);
    if (harm !== undefined) this.diary.harmful.push(harm);
    if (operation === OPERATION.getDeviceInfo) return { ...OK, data: deviceInfo(this) };
    if (operation === OPERATION.openSession) return this.#openSession(call.parameters[0] ?? 0);
    if (this.#session === null) return { response: RESPONSE.sessionNotOpen };
    if (!this.operations.includes(operation)) return { response: RESPONSE.operationNotSupported };
    if (this.#refusesAsBusy(operation)) return { response: RESPONSE.deviceBusy };
    if (operation >= 0x9000) return answerMaker(this, operation, call);
    return this.#standard(call);
  }

  get operations(): readonly number[] {
    const { capture, openCapture, partial, thumb, maker } = this.traits;
    const left = new Set<number>();
    if (capture === "absent") left.add(OPERATION.initiateCapture);
    if (openCapture.kind === "absent") {
      left.add(OPERATION.initiateOpenCapture).add(OPERATION.terminateOpenCapture);
    }
    if (partial === "absent") left.add(OPERATION.getPartialObject);
    if (thumb.kind === "absent") left.add(OPERATION.getThumb);
    const standard = Object.values(OPERATION).filter((code) => !left.has(code));
    return [...standard, ...MAKERS[maker].operations];
  }

  async #standard({ operation, transaction, parameters, data }: Call): Promise<Answer> {
    const [first = 0, second = 0, third = 0] = parameters;
    switch (operation) {
      case OPERATION.closeSession:
        this.#endSession();
        return OK;
      case OPERATION.getStorageIds:
        return {
          ...OK,
          data: new ByteSink()
            .array(
              32,
              this.traits.store.map(({ id }) => id),
            )
            .bytes(),
        };
      case OPERATION.getStorageInfo: {
        const store = this.traits.store.find(({ id }) => id === first);
        if (!store) return { response: RESPONSE.invalidStorage };
        if ((store.id & 0xffff) === 0) return { response: RESPONSE.storeNotAvailable };
        return { ...OK, data: storageInfo(store) };
      }
      case OPERATION.getNumObjects:
        return { ...OK, parameters: [this.#handles(first, second, third).length] };
      case OPERATION.getObjectHandles:
        return {
          ...OK,
          data: new ByteSink().array(32, this.#handles(first, second, third)).bytes(),
        };
      case OPERATION.getObjectInfo:
        return this.#objectInfo(first);
      case OPERATION.getObject:
      case OPERATION.getThumb:
      case OPERATION.getPartialObject:
        return this.#objectBytes(operation, first, second, third);
      case OPERATION.initiateCapture:
        return { response: this.#initiateCapture(transaction, first) };
      case OPERATION.initiateOpenCapture:
        return { response: this.#initiateOpenCapture(transaction) };
      case OPERATION.terminateOpenCapture:
        return { response: this.#terminateOpenCapture(first) };
      case OPERATION.getDevicePropDesc:
      case OPERATION.getDevicePropValue:
        return this.#readProperty(operation, first);
      case OPERATION.setDevicePropValue:
        return { response: this.write(first, data) };
      default:
        return { response: RESPONSE.operationNotSupported };
    }
  }

  // Settings

  #readProperty(operation: number, code: number): Answer {
    const property = this.properties.get(code);
    if (!property) return { response: RESPONSE.propertyNotSupported };
    const value = this.properties.value(property);
    this.diary.show(code, value);
    return {
      ...OK,
      data:
        operation === OPERATION.getDevicePropDesc ? this.properties.description(property) : value,
    };
  }

  /** A value from the host, by whichever operation it came. */
  write(code: number, value: Buffer): number {
    this.diary.write(code, value, performance.now());
    const before = this.properties.get(code)?.current;
    const response = this.properties.set(code, value);
    if (response !== RESPONSE.ok) return response;
    // What the host had read is no longer what stands there, as far as it knows.
    this.diary.forget(code);
    const property = this.properties.get(code)!;
    if (property.current !== before) this.#changed.add(code);
    if (this.traits.setting === "slow" && property.type !== "text") {
      const after = property.current;
      property.current = before!;
      this.#later(SLOW_SETTING_MS, () => (property.current = after));
    }
    if (this.traits.setting === "announced") {
      this.#later(30, () => this.emit(EVENT.devicePropChanged, 0, [code]));
    }
    return response;
  }

  #turnDial(): void {
    const { dial } = this.traits;
    const turn = (code: number, value: bigint | undefined): void => {
      if (value === undefined || !this.properties.get(code)) return;
      this.properties.turn(code, value);
      this.#changed.add(code);
      this.diary.forget(code);
      this.#tell(EVENT.devicePropChanged, 0, [code]);
    };
    const { exposureCode, isoCode } = this.properties;
    if (dial === "shutter") turn(exposureCode, this.properties.neighbour(exposureCode));
    if (dial === "iso") turn(isoCode, this.properties.neighbour(isoCode));
    if (dial === "toAperture") turn(PROPERTY.exposureProgram, 3n);
    if (dial === "toBulb") turn(PROPERTY.exposureProgram, 0x8010n);
  }

  // The shutter

  #initiateCapture(transaction: number, store: number): number {
    const { capture } = this.traits;
    if (this.properties.isAtBulb) this.diary.timedAtBulb += 1;
    if (this.#running) return RESPONSE.deviceBusy;
    if (store !== 0 && this.#storeToFill() !== store) return RESPONSE.storeFull;
    if (capture === "refused") return RESPONSE.accessDenied;
    if (this.properties.isAtBulb) {
      if (capture !== "opensAtBulb") return RESPONSE.generalError;
      this.#open("timed", transaction, null);
      return RESPONSE.ok;
    }
    return this.captureTimed(transaction);
  }

  /** Exposes for what the exposure time says. */
  captureTimed(transaction: number): number {
    if (this.#running) return RESPONSE.deviceBusy;
    const seconds = this.properties.exposureSeconds;
    this.#open("timed", transaction, seconds);
    this.#later(seconds * 1000, () => this.#close());
    return RESPONSE.ok;
  }

  #initiateOpenCapture(transaction: number): number {
    const { openCapture } = this.traits;
    if (this.#running) return RESPONSE.deviceBusy;
    switch (openCapture.kind) {
      case "absent":
        return RESPONSE.operationNotSupported;
      case "refused":
        return openCapture.response;
      case "onlyAtBulbProgram":
        if (this.properties.get(this.properties.programCode)?.current !== 0x8010n) {
          return RESPONSE.accessDenied;
        }
        break;
      case "onlyAtBulbSpeed":
        if (!this.properties.isAtBulb) return RESPONSE.accessDenied;
        break;
      case "busyFirst":
        this.#openRefusals = (this.#openRefusals + 1) % (openCapture.times + 1);
        if (this.#openRefusals !== 0) return RESPONSE.deviceBusy;
        break;
      case "endsItself":
        this.#later(openCapture.afterMs, () => {
          if (this.#running?.transaction === transaction) this.#close();
        });
        break;
      case "works":
        break;
    }
    this.#open("open", transaction, null);
    return RESPONSE.ok;
  }

  #terminateOpenCapture(transaction: number): number {
    if (this.#running?.opening.way === "open" && this.#running.transaction === transaction) {
      this.#close();
      return RESPONSE.ok;
    }
    return this.#lastOpened?.transaction === transaction
      ? RESPONSE.captureAlreadyTerminated
      : RESPONSE.invalidTransaction;
  }

  openByMaker(transaction: number): number {
    if (this.#running) return RESPONSE.deviceBusy;
    if (this.traits.bulbValue !== null && !this.properties.isAtBulb) {
      return this.captureTimed(transaction);
    }
    this.#open("maker", transaction, null);
    return RESPONSE.ok;
  }

  closeByMaker(): number {
    if (this.#running?.opening.way === "maker") this.#close();
    return RESPONSE.ok;
  }

  #open(way: Opening["way"], transaction: number, setSeconds: number | null): void {
    const opening: Opening = {
      way,
      openedMs: performance.now(),
      closedMs: null,
      setSeconds,
      iso: this.properties.iso,
    };
    this.diary.openings.push(opening);
    this.#running = { opening, transaction };
    this.#lastOpened = this.#running;
  }

  #close(): void {
    const running = this.#running;
    if (!running) return;
    this.#running = null;
    running.opening.closedMs = performance.now();
    const { busy, arrivalMs } = this.traits;
    if (busy.afterFrameMs > 0) this.#busyUntilMs = performance.now() + busy.afterFrameMs;
    if (arrivalMs === null) {
      if (running.opening.way === "timed") this.#complete(running);
      return;
    }
    const takenAt = new Date(Date.now() + (this.traits.clock?.offsetMs ?? 0));
    this.#later(arrivalMs, () => {
      // One exposure's files are whole before the next one's begin.
      this.#stored = this.#stored.then(async () => await this.#store(running, takenAt));
    });
  }

  // The card

  async #store(running: Running, takenAt: Date): Promise<void> {
    this.#filed += 1;
    const { openedMs, closedMs, setSeconds, iso } = running.opening;
    const files = await storedFiles(this.traits, {
      exposure: {
        seconds: setSeconds ?? (closedMs! - openedMs) / 1000,
        iso,
        fNumber: this.properties.fNumber,
        luminanceCdM2: this.#luminanceCdM2,
      },
      takenAt,
      index: this.#filed,
      storage: this.#storeToFill(),
      parent: this.traits.folders === "flat" ? 0 : this.#folderHandle(1),
      nextHandle: () => this.#nextHandle(),
    });
    this.#objects.push(...files);
    this.#fresh.push(...files);
    this.#announce(running, files);
    if (this.#filed === 3) this.#turnDial();
  }

  #announce(running: Running, files: readonly Stored[]): void {
    const { events } = this.traits;
    const add = (): void => {
      for (const { handle } of files) {
        this.#tell(EVENT.objectAdded, running.transaction, [handle]);
        if (events === "twice") this.#tell(EVENT.objectAdded, running.transaction, [handle]);
      }
    };
    const complete = (): void => {
      if (running.opening.way === "timed") this.#complete(running);
    };
    switch (events) {
      case "none":
        return;
      case "late":
        this.#later(LATE_EVENTS_MS, () => {
          add();
          complete();
        });
        return;
      case "completeFirst":
        complete();
        this.#later(300, add);
        return;
      case "noComplete":
        add();
        return;
      case "unreported":
        this.#tell(EVENT.unreportedStatus, 0, []);
        return;
      case "prompt":
      case "twice":
        add();
        complete();
    }
  }

  #complete({ transaction }: Running): void {
    this.#tell(EVENT.captureComplete, transaction, [transaction]);
  }

  #tell(code: number, transaction: number, parameters: readonly number[]): void {
    if (this.traits.events === "none") return;
    const reported = { own: transaction, zero: 0, ones: 0xffffffff, stale: 1 };
    this.emit(code, reported[this.traits.eventTransaction], parameters);
  }

  #handles(store: number, format: number, parent: number): readonly number[] {
    const folders =
      this.traits.folders === "flat" || (format !== 0 && format !== 0x3001)
        ? []
        : [this.#folderHandle(0), this.#folderHandle(1)];
    const files = this.#objects.filter(
      (stored) =>
        (store === ALL_STORES || store === 0 || stored.storage === store) &&
        (format === 0 || stored.format === format) &&
        (parent === 0 || stored.parent === (parent === 0xffffffff ? 0 : parent)),
    );
    const inside = folders.filter((handle) => {
      if (parent === 0) return true;
      return this.#folderParent(handle) === (parent === 0xffffffff ? 0 : parent);
    });
    return [...inside, ...files.map(({ handle }) => handle)];
  }

  #folderHandle(index: 0 | 1): number {
    return 0x60000001 + index;
  }

  #folderParent(handle: number): number {
    const isOuter = handle === this.#folderHandle(0);
    if (this.traits.folders === "loop") return this.#folderHandle(isOuter ? 1 : 0);
    return isOuter ? 0 : this.#folderHandle(0);
  }

  #objectInfo(handle: number): Answer {
    const stored = this.#objects.find((object) => object.handle === handle);
    if (stored) return { ...OK, data: objectInfo(stored) };
    const folder = ([0, 1] as const).find((index) => this.#folderHandle(index) === handle);
    if (folder === undefined || this.traits.folders === "flat") {
      return { response: RESPONSE.invalidObject };
    }
    const data = folderInfo(this.#storeToFill(), FOLDERS[folder], this.#folderParent(handle));
    return { ...OK, data };
  }

  #objectBytes(operation: number, handle: number, offset: number, count: number): Answer {
    const { thumb, partial } = this.traits;
    const stored = this.#objects.find((object) => object.handle === handle);
    if (!stored) return { response: RESPONSE.invalidObject };
    if (operation === OPERATION.getObject) return { ...OK, data: stored.bytes };
    if (operation === OPERATION.getThumb) {
      if (stored.thumb) return { ...OK, data: stored.thumb };
      return { response: thumb.kind === "refused" ? thumb.response : RESPONSE.noThumbnail };
    }
    if (partial === "refused") return { response: RESPONSE.accessDenied };
    const asked = Math.min(count, stored.bytes.length - Math.min(offset, stored.bytes.length));
    const sent = partial === "works" ? asked : Math.ceil(asked / 2);
    return {
      ...OK,
      data: stored.bytes.subarray(offset, offset + sent),
      parameters: [partial === "lying" ? asked : sent],
    };
  }

  #storeToFill(): number {
    return this.traits.store.find(({ freeBytes }) => freeBytes > 0n)?.id ?? 0;
  }

  #nextHandle(): number {
    const { first, step } = this.traits.handles;
    const handle = first + step * this.#handlesGiven;
    this.#handlesGiven += 1;
    return handle;
  }

  // The session

  #openSession(id: number): Answer {
    if (id === 0) return { response: RESPONSE.invalidParameter };
    if (this.#session !== null) {
      return { response: RESPONSE.sessionAlreadyOpen, parameters: [this.#session] };
    }
    this.#session = id;
    if (this.traits.handles.restarts) this.#renumber();
    return OK;
  }

  #endSession(): void {
    this.#session = null;
  }

  #renumber(): void {
    this.#handlesGiven = 0;
    this.#objects = this.#objects.map((stored) => ({ ...stored, handle: this.#nextHandle() }));
    this.#fresh = [];
  }

  #refusesAsBusy(operation: number): boolean {
    if (NEVER_BUSY.has(operation)) return false;
    if (this.isBusy) return true;
    const { everyNth } = this.traits.busy;
    if (everyNth === 0 || !NOW_AND_THEN.has(operation)) return false;
    this.#busyAnswers += 1;
    return this.#busyAnswers % everyNth === 0;
  }

  #later(afterMs: number, act: () => void): void {
    const timer = setTimeout(() => {
      this.#timers.delete(timer);
      act();
    }, afterMs);
    this.#timers.add(timer);
  }
}

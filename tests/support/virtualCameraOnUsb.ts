// The virtual camera's responder behind a still-image interface.
import { Responder } from "../../controller/virtual-camera/responder.ts";
import type { VirtualCamera } from "../../controller/virtual-camera/virtualCamera.ts";
import { RESPONSES } from "../../core/ptp/responses.ts";
import { transactionId } from "../../core/ptp/ids.ts";
import {
  containerBytes,
  StillImageFunction,
  words,
  wordsOf,
  type HostContainer,
  type Setup,
  type UsbIdentity,
} from "./usbFunction.ts";

const TYPE = { command: 1, data: 2, response: 3, event: 4 } as const;
const REQUEST = { cancel: 0x64, reset: 0x66, status: 0x67 } as const;

/** One virtual camera on USB. */
export class VirtualCameraOnUsb extends StillImageFunction {
  readonly #camera: VirtualCamera;
  #responder: Responder;
  #waitsForData: HostContainer | null = null;
  /** The transaction that is being answered; null: none. */
  #running: { readonly id: number; isCancelled: boolean } | null = null;

  constructor(camera: VirtualCamera, identity: Partial<UsbIdentity> = {}) {
    super(identity);
    this.#camera = camera;
    this.#responder = this.#newResponder();
    this.onGone(() => this.#responder.detach());
  }

  protected override onContainer(container: HostContainer): void {
    if (container.type === TYPE.command) {
      if (this.#responder.takesData(container.code)) this.#waitsForData = container;
      else void this.#answer(container, null);
    } else if (container.type === TYPE.data && this.#waitsForData !== null) {
      const command = this.#waitsForData;
      this.#waitsForData = null;
      void this.#answer(command, container.payload);
    } else {
      // Nothing that a host may send now: broken off, as the standard has it.
      this.stall();
    }
  }

  protected override onClassRequest({ requestType, request }: Setup, data: Buffer): Buffer | null {
    if (requestType === 0x21 && request === REQUEST.cancel) {
      this.#waitsForData = null;
      if (this.#running?.id === data.readUInt32LE(2)) this.#running.isCancelled = true;
      // What has not been read is not wanted any more; a cancelled transaction has no response.
      this.bulkIn.flush();
      this.forgetReceived();
      return Buffer.alloc(0);
    }
    if (requestType === 0x21 && request === REQUEST.reset) {
      this.#responder.detach();
      this.#responder = this.#newResponder();
      this.bulkIn.flush();
      this.forgetReceived();
      this.clearHalt(0x02);
      this.bulkIn.clearHalt();
      return Buffer.alloc(0);
    }
    if (requestType !== 0xa1 || request !== REQUEST.status) return null;
    const isBusy = this.#running?.isCancelled ?? false;
    const isStalled = this.isOutHalted;
    const code = isBusy
      ? RESPONSES.DeviceBusy
      : isStalled
        ? RESPONSES.TransactionCancelled
        : RESPONSES.OK;
    return Buffer.from([4, 0, code & 255, code >> 8]);
  }

  async #answer(command: HostContainer, data: Buffer | null): Promise<void> {
    const { code, transactionId: id, payload } = command;
    const running = { id, isCancelled: false };
    this.#running = running;
    const answer = await this.#responder.handle({
      ...{ code, transactionId: transactionId(id), parameters: wordsOf(payload), data },
    });
    this.#running = null;
    if (!running.isCancelled) {
      if (answer.data !== null) this.#sendData(code, id, answer.data);
      this.bulkIn.send(containerBytes(TYPE.response, answer.code, id, words(answer.parameters)));
    }
    answer.afterwards?.();
  }

  #sendData(code: number, id: number, data: Uint8Array): void {
    const bytes = containerBytes(TYPE.data, code, id, data);
    this.bulkIn.send(bytes);
    if (bytes.length % this.identity.packetBytes === 0) this.bulkIn.send(new Uint8Array());
  }

  #newResponder(): Responder {
    return new Responder(this.#camera, ({ code, transactionId: id, parameters }) =>
      this.interruptIn.send(containerBytes(TYPE.event, code, id, words(parameters))),
    );
  }
}

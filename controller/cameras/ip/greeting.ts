import { NightError } from "../../../core/errors.ts";
import {
  INIT_FAIL_REASONS,
  IP_PROTOCOL_VERSION,
  type IpPacket,
} from "../../../core/ptp/ipPacket.ts";
import { realMs } from "../../timing/clock.ts";
import type { IpConnection } from "./connection.ts";

/** The name that a camera may show while it is connected. */
const FRIENDLY_NAME = "Nattvakt";

/** The packets that can begin or refuse a connection. */
type IpGreetingPacket = Extract<IpPacket, { kind: "initCommandAck" | "initEventAck" | "initFail" }>;

/** The first packets of both connections, and what a refusal means. */
export class IpGreeting {
  readonly #place: string;
  #answer: ((result: IpGreetingPacket | NightError) => void) | null = null;

  constructor(place: string) {
    this.#place = place;
  }

  /**
   * Introduces this program on the command connection.
   * @returns the number by which the event connection joins it.
   * @throws NightError `camera.unreachable`, `camera.busy`, `camera.refused`.
   */
  async introduce(
    command: IpConnection,
    initiatorGuid: Uint8Array,
    deadlineMs: number,
  ): Promise<number> {
    const ack = await this.#exchange(command, deadlineMs, {
      kind: "initCommandRequest",
      guid: initiatorGuid,
      friendlyName: FRIENDLY_NAME,
      protocolVersion: IP_PROTOCOL_VERSION,
    });
    if (ack.kind !== "initCommandAck") throw this.#refusal(ack);
    return ack.connectionNumber;
  }

  /** Joins the event connection to the command connection. @throws as `introduce`. */
  async join(event: IpConnection, connectionNumber: number, deadlineMs: number): Promise<void> {
    const packet: IpPacket = { kind: "initEventRequest", connectionNumber };
    const ack = await this.#exchange(event, deadlineMs, packet);
    if (ack.kind !== "initEventAck") throw this.#refusal(ack);
  }

  /** @returns whether somebody waited for it. */
  hear(packet: IpGreetingPacket): boolean {
    const answer = this.#answer;
    answer?.(packet);
    return answer !== null;
  }

  /** A connection has ended. @returns whether that ended the greeting. */
  lose(cause: Error | null): boolean {
    const answer = this.#answer;
    answer?.(this.#lost(cause));
    return answer !== null;
  }

  /** Sends the first packet of a connection and waits for what the camera makes of it. */
  async #exchange(
    connection: IpConnection,
    deadlineMs: number,
    packet: IpPacket,
  ): Promise<IpGreetingPacket> {
    return await new Promise((resolve, reject) => {
      const timer = setTimeout(
        () => this.#answer?.(this.#silence()),
        Math.max(1, deadlineMs - realMs()),
      );
      this.#answer = (result) => {
        clearTimeout(timer);
        this.#answer = null;
        if (result instanceof NightError) reject(result);
        else resolve(result);
      };
      connection.send(packet);
    });
  }

  #silence(): NightError {
    return new NightError(
      "camera.unreachable",
      `Something at ${this.#place} takes the connection but does not answer as a camera would; check the address and restart the camera's network mode.`,
    );
  }

  #refusal(answer: IpGreetingPacket): NightError {
    if (answer.kind === "initFail" && answer.reason === INIT_FAIL_REASONS.busy) {
      return new NightError(
        "camera.busy",
        `The camera at ${this.#place} is connected to another program already; end that connection first.`,
      );
    }
    return new NightError(
      "camera.refused",
      `The camera at ${this.#place} does not accept this computer; pair it in the camera's own menu.`,
      { reason: answer.kind === "initFail" ? answer.reason : answer.kind },
    );
  }

  #lost(cause: Error | null): NightError {
    const sentence =
      cause instanceof NightError
        ? `What answers at ${this.#place} does not speak a camera's language (PTP/IP); check the address.`
        : `The camera at ${this.#place} closed the connection at once; it may be connected elsewhere or want to be paired first.`;
    const code = cause instanceof NightError ? "camera.unreachable" : "camera.refused";
    return new NightError(code, sentence, {}, { cause });
  }
}

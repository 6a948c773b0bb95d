import { afterEach, describe, expect, it } from "vitest";
import type { TransactionOptions, TransportEvent } from "../../controller/cameras/transport.ts";
import { realMs } from "../../controller/timing/clock.ts";
import type { NightError } from "../../core/errors.ts";
import type { TransportKind, TransportRig } from "../support/fakePeer.ts";

const GET_DEVICE_INFO = 0x1001;
const SET_PROPERTY = 0x1016;
const OK = 0x2001;
const CANCELLED = 0x201f;
const OBJECT_ADDED = 0x4002;

/** What every transport does, whatever carries it. */
export function describeTransport(kind: TransportKind): void {
  describe(`a transport: ${kind.name}`, () => {
    let rig: TransportRig;
    const join = async (options: { cancelMs?: number } = {}): Promise<TransportRig> => {
      rig = await kind.join(options);
      return rig;
    };
    afterEach(async () => await rig.stop());

    const ask = (transactionId: number, options: Partial<TransactionOptions> = {}) =>
      rig.transport.transact(
        { operationCode: GET_DEVICE_INFO, transactionId, parameters: [], dataOut: null },
        { timeoutMs: 5_000, ...options },
      );

    /** Collects the data phase of one transaction. */
    const collect = async (transactionId: number, options: Partial<TransactionOptions> = {}) => {
      const chunks: Uint8Array[] = [];
      const answer = await ask(transactionId, {
        ...options,
        data: { take: (chunk) => chunks.push(chunk) },
      });
      return { answer, data: Uint8Array.from(Buffer.concat(chunks)) };
    };

    it("carries five parameters out and five back, and stamps the answer after the request", async () => {
      const { transport, peer } = await join();
      const answered = transport.transact(
        {
          operationCode: 0x100e,
          transactionId: 9,
          parameters: [1, 0xffffffff, 3, 4, 5],
          dataOut: null,
        },
        { timeoutMs: 5_000 },
      );
      expect(await peer.nextRequest()).toEqual({
        operationCode: 0x100e,
        transactionId: 9,
        parameters: [1, 0xffffffff, 3, 4, 5],
        dataOut: null,
      });
      peer.respond(9, OK, [0xffffffff, 2, 3, 4, 5]);
      const answer = await answered;
      expect(answer).toMatchObject({
        responseCode: OK,
        parameters: [0xffffffff, 2, 3, 4, 5],
        dataBytes: 0,
        isDataComplete: true,
      });
      expect(answer.answeredMs).toBeGreaterThanOrEqual(answer.sentMs);
      expect(answer.answeredMs).toBeLessThanOrEqual(realMs());
    });

    it.each(["packet by packet", "byte by byte", "all at once"] as const)(
      "receives 10 bytes in two pieces and the response, sent %s",
      async (cutting) => {
        const { peer } = await join();
        const collected = collect(5);
        await peer.nextRequest();
        peer.cut(cutting);
        peer.startData(5, 10);
        peer.data(5, Uint8Array.of(0, 1, 2, 3, 4, 5));
        peer.endData(5, Uint8Array.of(6, 7, 8, 9));
        peer.respond(5, OK);
        await peer.flush();
        const { answer, data } = await collected;
        expect(data).toEqual(Uint8Array.of(0, 1, 2, 3, 4, 5, 6, 7, 8, 9));
        expect(answer).toMatchObject({ responseCode: OK, dataBytes: 10, isDataComplete: true });
      },
    );

    it("receives 1 MiB unchanged", async () => {
      const { peer } = await join();
      const bytes = Uint8Array.from(
        { length: 1 << 20 },
        (_, index) => (index * 31 + (index >> 8)) & 255,
      );
      const collected = collect(6);
      await peer.nextRequest();
      peer.startData(6, bytes.length);
      for (let at = 0; at < bytes.length - 65_536; at += 65_536) {
        peer.data(6, bytes.subarray(at, at + 65_536));
      }
      peer.endData(6, bytes.subarray(bytes.length - 65_536));
      peer.respond(6, OK);
      const { answer, data } = await collected;
      expect(answer.isDataComplete).toBe(true);
      expect(Buffer.compare(data, bytes)).toBe(0);
    });

    it("receives a data phase of unknown length", async () => {
      const { peer } = await join();
      const collected = collect(6);
      await peer.nextRequest();
      peer.startData(6, null);
      peer.data(6, Uint8Array.of(1));
      peer.endData(6, Uint8Array.of(2));
      peer.respond(6, OK);
      expect((await collected).data).toEqual(Uint8Array.of(1, 2));
    });

    it("receives an empty data phase", async () => {
      const { peer } = await join();
      const collected = collect(6);
      await peer.nextRequest();
      peer.startData(6, 0);
      peer.endData(6, new Uint8Array(0));
      peer.respond(6, OK);
      const { answer, data } = await collected;
      expect(data.length).toBe(0);
      expect(answer.isDataComplete).toBe(true);
    });

    it("sends a data phase of 200,000 bytes before it waits for the response", async () => {
      const { transport, peer } = await join();
      const dataOut = Uint8Array.from({ length: 200_000 }, (_, index) => index & 255);
      const answered = transport.transact(
        { operationCode: SET_PROPERTY, transactionId: 2, parameters: [0x500d], dataOut },
        { timeoutMs: 5_000 },
      );
      const request = await peer.nextRequest();
      expect(request.dataOut && Buffer.compare(request.dataOut, dataOut)).toBe(0);
      peer.respond(2, OK);
      expect((await answered).responseCode).toBe(OK);
    });

    it("takes an error instead of the data phase, and a maker's own code as it is", async () => {
      const { peer } = await join();
      const collected = collect(3);
      await peer.nextRequest();
      peer.respond(3, 0xa123);
      const { answer, data } = await collected;
      expect(answer).toMatchObject({ responseCode: 0xa123, isDataComplete: true });
      expect(data.length).toBe(0);
    });

    it("marks data incomplete when 4 of 10 announced bytes came", async () => {
      const { peer } = await join();
      const collected = collect(3);
      await peer.nextRequest();
      peer.startData(3, 10);
      peer.endData(3, Uint8Array.of(1, 2, 3, 4));
      peer.respond(3, OK);
      const { answer } = await collected;
      expect(answer).toMatchObject({ dataBytes: 4, isDataComplete: false });
    });

    it("breaks the link when more data comes than was announced", async () => {
      const { peer, transport } = await join();
      const losses: NightError[] = [];
      transport.onLost((error) => losses.push(error));
      const collected = collect(3);
      await peer.nextRequest();
      peer.startData(3, 4);
      peer.endData(3, Uint8Array.of(1, 2, 3, 4, 5));
      await expect(collected).rejects.toMatchObject({ code: "camera.gone" });
      expect(losses).toHaveLength(1);
    });

    it("breaks the link when more data comes than the caller can hold", async () => {
      const { peer } = await join();
      const collected = collect(3, { dataBytesMax: 8 });
      await peer.nextRequest();
      peer.startData(3, null);
      peer.endData(3, new Uint8Array(9));
      await expect(collected).rejects.toMatchObject({ code: "camera.gone" });
    });

    it("passes over the late answer of an earlier transaction", async () => {
      const { peer } = await join();
      const first = ask(1);
      await peer.nextRequest();
      peer.respond(1, OK);
      await first;
      const second = ask(2);
      await peer.nextRequest();
      peer.respond(1, 0x2002);
      peer.respond(2, OK, [42]);
      expect(await second).toMatchObject({ responseCode: OK, parameters: [42] });
    });

    it("breaks the link at an answer to a transaction that was never asked", async () => {
      const { peer } = await join();
      const answered = ask(1);
      await peer.nextRequest();
      peer.respond(77, OK);
      await expect(answered).rejects.toMatchObject({ code: "camera.gone" });
    });

    it("cancels when asked to, and goes on with the next transaction", async () => {
      const { peer } = await join();
      const cut = new AbortController();
      const collected = collect(4, { signal: cut.signal });
      await peer.nextRequest();
      peer.startData(4, 1_000);
      peer.data(4, new Uint8Array(10));
      cut.abort();
      expect(await peer.nextCancel()).toBe(4);
      peer.endData(4, new Uint8Array(0));
      peer.respond(4, CANCELLED);
      await expect(collected).rejects.toMatchObject({ code: "ptp.cancelled" });
      const next = ask(5);
      await peer.nextRequest();
      peer.respond(5, OK);
      expect((await next).responseCode).toBe(OK);
    });

    it("takes the result when the transfer wins the race against its cancel", async () => {
      const { peer } = await join();
      const cut = new AbortController();
      const answered = ask(4, { signal: cut.signal });
      await peer.nextRequest();
      cut.abort();
      await peer.nextCancel();
      peer.respond(4, OK, [1]);
      expect(await answered).toMatchObject({ responseCode: OK, parameters: [1] });
    });

    it("does not pass off data as whole that a cancel made it discard", async () => {
      const { peer } = await join();
      const cut = new AbortController();
      const collected = collect(4, { signal: cut.signal });
      await peer.nextRequest();
      cut.abort();
      await peer.nextCancel();
      peer.startData(4, 4);
      peer.endData(4, Uint8Array.of(1, 2, 3, 4));
      peer.respond(4, OK);
      await expect(collected).rejects.toMatchObject({ code: "ptp.cancelled" });
    });

    it("cancels after 20 ms without an answer and keeps the link when the camera confirms", async () => {
      const { peer } = await join();
      const answered = ask(4, { timeoutMs: 20 });
      await peer.nextRequest();
      expect(await peer.nextCancel()).toBe(4);
      peer.respond(4, CANCELLED);
      await expect(answered).rejects.toMatchObject({ code: "ptp.timeout" });
      const next = ask(5);
      await peer.nextRequest();
      peer.respond(5, OK);
      expect((await next).responseCode).toBe(OK);
    });

    it("gives the link up when a cancelled transaction does not end within 30 ms", async () => {
      const { peer, transport } = await join({ cancelMs: 30 });
      const losses: NightError[] = [];
      transport.onLost((error) => losses.push(error));
      const answered = ask(4, { timeoutMs: 20 });
      await peer.nextRequest();
      await expect(answered).rejects.toMatchObject({ code: "camera.gone" });
      expect(losses.map(({ code }) => code)).toEqual(["camera.gone"]);
      await expect(ask(5)).rejects.toMatchObject({ code: "camera.gone" });
    });

    it("refuses a second transaction while one runs", async () => {
      const { peer } = await join();
      const first = ask(1);
      await expect(ask(2)).rejects.toMatchObject({ code: "invariant.violated" });
      await peer.nextRequest();
      peer.respond(1, OK);
      await first;
    });

    it("tells events in order, unknown codes and odd transactions included", async () => {
      const { peer, transport } = await join();
      const events: TransportEvent[] = [];
      const four = new Promise<void>((resolve) =>
        transport.onEvent((event) => {
          events.push(event);
          if (events.length === 4) resolve();
        }),
      );
      peer.event(OBJECT_ADDED, 3, [0x80000001]);
      peer.event(0xc801, 0xffffffff, [1, 2, 3]);
      peer.event(OBJECT_ADDED, 0, []);
      peer.event(OBJECT_ADDED, 3, [0x80000001]);
      await four;
      expect(events.map(({ eventCode, parameters }) => [eventCode, ...parameters])).toEqual([
        [OBJECT_ADDED, 0x80000001],
        [0xc801, 1, 2, 3],
        [OBJECT_ADDED],
        [OBJECT_ADDED, 0x80000001],
      ]);
    });

    it("fails the running transaction and tells the loss once when the camera vanishes", async () => {
      const { peer, transport } = await join();
      const losses: NightError[] = [];
      transport.onLost((error) => losses.push(error));
      const answered = ask(1);
      await peer.nextRequest();
      peer.vanish();
      await expect(answered).rejects.toMatchObject({ code: "camera.gone" });
      await expect(ask(2)).rejects.toMatchObject({ code: "camera.gone" });
      expect(losses).toHaveLength(1);
    });

    it("ends the running transaction at close, is closed twice without harm, and tells no loss", async () => {
      const { peer, transport } = await join();
      const losses: NightError[] = [];
      transport.onLost((error) => losses.push(error));
      const answered = ask(1);
      await peer.nextRequest();
      await Promise.all([
        expect(answered).rejects.toMatchObject({ code: "camera.gone" }),
        transport.close(),
      ]);
      await transport.close();
      expect(losses).toEqual([]);
    });
  });
}

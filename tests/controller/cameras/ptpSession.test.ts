import { afterEach, describe, expect, it } from "vitest";
import { PtpSession, type PtpSessionOptions } from "../../../controller/cameras/ptpSession.ts";
import { encodeHandles } from "../../../core/ptp/datasets/handles.ts";
import { uint32 } from "../../../core/ptp/dataTypes.ts";
import { transactionId } from "../../../core/ptp/ids.ts";
import { OPERATIONS } from "../../../core/ptp/operations.ts";
import { RESPONSES } from "../../../core/ptp/responses.ts";
import { IP_KIND } from "../../support/fakeIpCamera.ts";
import type { FakePeer, PeerRequest, TransportRig } from "../../support/fakePeer.ts";

describe("a PTP session", () => {
  let rig: TransportRig;
  let peer: FakePeer;
  afterEach(async () => await rig.stop());

  const join = async (options: PtpSessionOptions = {}): Promise<PtpSession> => {
    rig = await IP_KIND.join();
    peer = rig.peer;
    return new PtpSession(rig.transport, options);
  };
  const opened = async (options: PtpSessionOptions = {}): Promise<PtpSession> => {
    const session = await join(options);
    const opening = session.open();
    await answer(RESPONSES.OK);
    await opening;
    return session;
  };
  /** Answers the next request, with data when there is some. */
  const answer = async (
    responseCode: number,
    options: { data?: Uint8Array; parameters?: readonly number[] } = {},
  ): Promise<PeerRequest> => {
    const request = await peer.nextRequest();
    const { data, parameters = [] } = options;
    if (data) {
      peer.startData(request.transactionId, data.length);
      peer.endData(request.transactionId, data);
    }
    peer.respond(request.transactionId, responseCode, parameters);
    return request;
  };

  it("opens with transaction 0 and session 1, then counts from 1", async () => {
    const session = await join();
    const opening = session.open();
    expect(await answer(RESPONSES.OK)).toMatchObject({
      operationCode: OPERATIONS.OpenSession.code,
      transactionId: 0,
      parameters: [1],
    });
    await opening;
    expect(session.upcomingTransactionId).toBe(1);
    const ids = session.getStorageIds();
    const request = await answer(RESPONSES.OK, { data: encodeHandles([0x00010001, 0x00020000]) });
    expect(request.transactionId).toBe(1);
    // The second slot has no card in it.
    expect(await ids).toEqual([0x00010001]);
  });

  it("gives up a link that brings more than the 1,000 bytes that an object is allowed", async () => {
    const session = await opened();
    const object = session.getObject(7, { dataBytesMax: 1000 });
    const refused = expect(object).rejects.toMatchObject({ code: "camera.gone" });
    const { transactionId: id } = await peer.nextRequest();
    peer.startData(id, 5000);
    peer.endData(id, new Uint8Array(5000));
    await refused;
  });

  it("gives up a link that brings an object without end whose length it did not announce", async () => {
    const session = await opened();
    const object = session.getObject(7, { dataBytesMax: 100_000 });
    let isRefused = false;
    const refused = object.catch((thrown: unknown) => {
      isRefused = true;
      return thrown;
    });
    const { transactionId: id } = await peer.nextRequest();
    peer.startData(id, null);
    let sentBytes = 0;
    while (!isRefused) {
      peer.data(id, new Uint8Array(1000));
      sentBytes += 1000;
      await new Promise((resolve) => setImmediate(resolve));
    }
    expect(await refused).toMatchObject({ code: "camera.gone" });
    expect(sentBytes).toBeGreaterThan(100_000);
  });

  it("skips 0xFFFFFFFF and 0 when the transaction number wraps", async () => {
    const session = await opened({ firstTransactionId: transactionId(0xfffffffd) });
    const seen: number[] = [];
    for (let count = 0; count < 3; count += 1) {
      const done = session.deleteObject(5);
      seen.push((await answer(RESPONSES.OK)).transactionId);
      await done;
    }
    expect(seen).toEqual([0xfffffffe, 1, 2]);
  });

  it("asks for the device's description outside a session with transaction 0", async () => {
    const session = await join();
    const asked = session.getDeviceInfo();
    const request = await answer(RESPONSES.OperationNotSupported);
    expect(request.transactionId).toBe(0);
    await expect(asked).rejects.toMatchObject({ code: "ptp.response" });
  });

  it("closes a session that an earlier connection left open, and opens its own", async () => {
    const session = await join();
    const steps: string[] = [];
    const opening = session.open({
      lastTransactionId: transactionId(41),
      beforeClosing: async () => {
        steps.push(`while open: next is ${session.upcomingTransactionId}`);
        return await Promise.resolve();
      },
    });
    await answer(RESPONSES.SessionAlreadyOpen, { parameters: [1] });
    steps.push(`0x${(await answer(RESPONSES.OK)).operationCode.toString(16)}`);
    steps.push(`0x${(await answer(RESPONSES.OK)).operationCode.toString(16)}`);
    await opening;
    expect(steps).toEqual(["while open: next is 42", "0x1003", "0x1002"]);
    expect(session.isOpen).toBe(true);
  });

  it("closes a session whose numbers it does not know by one that lies ahead of them", async () => {
    const session = await join();
    const opening = session.open();
    await answer(RESPONSES.SessionAlreadyOpen, { parameters: [1] });
    const closing = await answer(RESPONSES.InvalidTransactionID);
    expect(closing.transactionId).toBe(1);
    const again = await answer(RESPONSES.OK);
    expect(again.operationCode).toBe(OPERATIONS.CloseSession.code);
    expect(again.transactionId).toBeGreaterThan(1_000_000_000);
    await answer(RESPONSES.OK);
    await opening;
    expect(session.upcomingTransactionId).toBe(1);
  });

  it("takes the open session over when it cannot be closed", async () => {
    const session = await join();
    const opening = session.open();
    await answer(RESPONSES.SessionAlreadyOpen, { parameters: [1] });
    await answer(RESPONSES.OperationNotSupported);
    await opening;
    expect(session.isOpen).toBe(true);
  });

  it("tells a session that the camera ended from any other refusal", async () => {
    const session = await opened();
    const asked = session.getObjectHandles();
    await answer(RESPONSES.SessionNotOpen);
    await expect(asked).rejects.toMatchObject({ code: "camera.gone" });
    expect(session.isOpen).toBe(false);
  });

  it("fails at once on a busy camera unless it is asked to wait", async () => {
    const session = await opened();
    const asked = session.initiateCapture();
    await answer(RESPONSES.DeviceBusy);
    await expect(asked).rejects.toMatchObject({ code: "camera.busy" });
  });

  it("asks a busy camera again as a new transaction", async () => {
    const session = await opened();
    const asked = session.initiateCapture({ busyMsMax: 5_000 });
    expect((await answer(RESPONSES.DeviceBusy)).transactionId).toBe(1);
    expect((await answer(RESPONSES.OK)).transactionId).toBe(2);
    await asked;
  });

  it("stops asking a camera that is busy for ever when 150 ms are over", async () => {
    const session = await opened();
    const asked = session.initiateCapture({ busyMsMax: 150 });
    // After the first pause of 100 ms there is no time for the next one of 200 ms.
    await answer(RESPONSES.DeviceBusy);
    await answer(RESPONSES.DeviceBusy);
    await expect(asked).rejects.toMatchObject({ code: "camera.busy" });
  });

  it("names a full card", async () => {
    const session = await opened();
    const asked = session.initiateCapture();
    await answer(RESPONSES.StoreFull);
    await expect(asked).rejects.toMatchObject({ code: "camera.card_full" });
  });

  it("surfaces a maker's own response by its number", async () => {
    const session = await opened();
    const asked = session.initiateCapture();
    await answer(0xa00c);
    await expect(asked).rejects.toMatchObject({
      code: "ptp.response",
      details: { responseCode: 0xa00c },
    });
  });

  it("runs two operations that were asked for at once one after the other", async () => {
    const session = await opened();
    const both = Promise.all([session.deleteObject(5), session.deleteObject(6)]);
    const first = await peer.nextRequest();
    peer.respond(first.transactionId, RESPONSES.OK);
    const second = await peer.nextRequest();
    peer.respond(second.transactionId, RESPONSES.OK);
    await both;
    expect([first.parameters[0], second.parameters[0]]).toEqual([5, 6]);
  });

  it("goes on after an operation that failed", async () => {
    const session = await opened();
    const failed = session.deleteObject(5);
    await answer(RESPONSES.InvalidObjectHandle);
    await expect(failed).rejects.toMatchObject({ code: "ptp.response" });
    const next = session.deleteObject(6);
    await answer(RESPONSES.OK);
    await next;
  });

  it("sets a property as its bare value and reads back what the camera made of it", async () => {
    const session = await opened();
    const setting = session.setProperty(0x500d, uint32, 300_000);
    const request = await answer(RESPONSES.OK);
    expect(request).toMatchObject({ operationCode: 0x1016, parameters: [0x500d] });
    // 30 s in 0.1 ms, the worked example of the protocol facts sheet.
    expect(request.dataOut && [...request.dataOut]).toEqual([0xe0, 0x93, 0x04, 0x00]);
    await answer(RESPONSES.OK, { data: Uint8Array.of(0x00, 0xe2, 0x04, 0x00) });
    expect(await setting).toBe(320_000);
  });

  it("believes the response on how many bytes of a file were sent", async () => {
    const session = await opened();
    const asked = session.getPartialObject(9, { offset: 100, bytes: 4 });
    const data = Uint8Array.of(1, 2, 3, 4);
    const request = await answer(RESPONSES.OK, { data, parameters: [3] });
    expect(request.parameters).toEqual([9, 100, 4]);
    expect(await asked).toEqual(Uint8Array.of(1, 2, 3));
  });

  it("refuses a dataset that stopped early", async () => {
    const session = await opened();
    const asked = session.getObjectHandles();
    const request = await peer.nextRequest();
    peer.startData(request.transactionId, 8);
    peer.endData(request.transactionId, Uint8Array.of(1, 0, 0, 0));
    peer.respond(request.transactionId, RESPONSES.OK);
    await expect(asked).rejects.toMatchObject({ code: "ptp.truncated" });
  });

  it("lists each handle once and none that cannot be", async () => {
    const session = await opened();
    const asked = session.getObjectHandles();
    const request = await answer(RESPONSES.OK, { data: encodeHandles([7, 0, 7, 0xffffffff, 8]) });
    expect(request.parameters).toEqual([0xffffffff, 0, 0]);
    expect(await asked).toEqual([7, 8]);
  });

  it("takes an open capture that ended by itself as ended", async () => {
    const session = await opened();
    const ending = session.terminateOpenCapture(7);
    const request = await answer(RESPONSES.CaptureAlreadyTerminated);
    expect(request).toMatchObject({ operationCode: 0x1018, parameters: [7] });
    await ending;
  });

  it("closes in order, and without harm when the link is gone", async () => {
    const session = await opened();
    const closing = session.close();
    expect((await answer(RESPONSES.OK)).operationCode).toBe(OPERATIONS.CloseSession.code);
    await closing;
    await session.close();
    await rig.stop();
    const other = await opened();
    peer.vanish();
    await other.close();
    expect(other.isOpen).toBe(false);
  });
});

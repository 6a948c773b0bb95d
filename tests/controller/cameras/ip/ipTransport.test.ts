import { afterEach, describe, expect, it } from "vitest";
import { installationGuid } from "../../../../controller/cameras/createTransport.ts";
import {
  IpTransport,
  type IpTransportOptions,
} from "../../../../controller/cameras/ip/ipTransport.ts";
import type { NightError } from "../../../../core/errors.ts";
import { encodeIpPacket } from "../../../../core/ptp/ipPacket.ts";
import { createIpRig, FakeIpCamera, type Greetings } from "../../../support/fakeIpCamera.ts";

const OK = 0x2001;

describe("the PTP/IP transport", () => {
  let stop: () => Promise<void> = () => Promise.resolve();
  const rig = async (
    options: Partial<IpTransportOptions> = {},
    greetings: Partial<Greetings> = {},
  ): Promise<{ transport: IpTransport; peer: FakeIpCamera }> => {
    const made = await createIpRig(options, greetings);
    stop = made.stop;
    return made;
  };
  afterEach(async () => await stop());

  const ask = (transport: IpTransport, transactionId: number) =>
    transport.transact(
      { operationCode: 0x1001, transactionId, parameters: [], dataOut: null },
      { timeoutMs: 5_000 },
    );

  it("introduces itself with its GUID and name, then joins the event connection by number", async () => {
    const { transport, peer } = await rig({ initiatorGuid: installationGuid() });
    await transport.open(5_000);
    expect(await peer.nextIntroduction()).toEqual({
      kind: "initCommandRequest",
      guid: Uint8Array.from(installationGuid()),
      friendlyName: "Nattvakt",
      protocolVersion: 0x10000,
    });
    expect(await peer.nextIntroduction()).toEqual({
      kind: "initEventRequest",
      connectionNumber: 7,
    });
  });

  it("says in one sentence that no camera answers at a closed port", async () => {
    const port = await freePort();
    const transport = new IpTransport({
      host: "127.0.0.1",
      port,
      initiatorGuid: installationGuid(),
    });
    await expect(transport.open(5_000)).rejects.toMatchObject({
      code: "camera.unreachable",
      message: `No camera answers at 127.0.0.1:${port}; check that it is switched on, in the same network and waiting for a computer.`,
    });
  });

  it.each([
    ["rejected", 1, "camera.refused", /does not accept this computer/],
    ["busy", 2, "camera.busy", /connected to another program/],
    ["an unknown reason", 99, "camera.refused", /does not accept this computer/],
  ] as const)("reads InitFail with %s", async (_, reason, code, sentence) => {
    const { transport } = await rig(
      {},
      { onCommand: (socket) => socket.end(encodeIpPacket({ kind: "initFail", reason })) },
    );
    const failure = transport.open(5_000);
    await expect(failure).rejects.toMatchObject({ code });
    await expect(failure).rejects.toThrow(sentence);
  });

  it("is refused on the event connection as well", async () => {
    const { transport } = await rig(
      {},
      { onEvent: (socket) => socket.end(encodeIpPacket({ kind: "initFail", reason: 1 })) },
    );
    await expect(transport.open(5_000)).rejects.toMatchObject({ code: "camera.refused" });
  });

  it("names a camera that closes the connection without a word", async () => {
    const { transport } = await rig({}, { onCommand: (socket) => socket.end() });
    await expect(transport.open(5_000)).rejects.toThrow(/closed the connection at once/);
  });

  it("names something that is no camera", async () => {
    const { transport } = await rig(
      {},
      { onCommand: (socket) => socket.write("HTTP/1.1 400 Bad Request\r\n\r\n") },
    );
    await expect(transport.open(5_000)).rejects.toThrow(/does not speak a camera's language/);
  });

  it("stops waiting for an event ack that never comes, after 50 ms", async () => {
    const { transport } = await rig({}, { onEvent: () => undefined });
    await expect(transport.open(50)).rejects.toMatchObject({ code: "camera.unreachable" });
  });

  it("drops the command connection when the event connection dies", async () => {
    const { transport, peer } = await rig();
    await transport.open(5_000);
    const lost = new Promise<NightError>((resolve) => transport.onLost(resolve));
    const answered = ask(transport, 1);
    await peer.nextRequest();
    peer.dropEventConnection();
    await expect(answered).rejects.toMatchObject({ code: "camera.gone" });
    expect((await lost).code).toBe("camera.gone");
  });

  it("answers a probe in the middle of a data phase, on the connection it came by", async () => {
    const { transport, peer } = await rig();
    await transport.open(5_000);
    const answered = ask(transport, 1);
    await peer.nextRequest();
    peer.startData(1, 2);
    peer.send({ kind: "probeRequest" });
    peer.sendEvent({ kind: "probeRequest" });
    expect((await peer.nextOther()).kind).toBe("probeResponse");
    expect((await peer.nextOther()).kind).toBe("probeResponse");
    peer.endData(1, Uint8Array.of(1, 2));
    peer.respond(1, OK);
    expect((await answered).isDataComplete).toBe(true);
  });

  it("probes a silent camera and gives it up after three misses once it has shown that it answers", async () => {
    const { transport, peer } = await rig({ probeAfterMs: 10 });
    const lost = new Promise<NightError>((resolve) => transport.onLost(resolve));
    await transport.open(5_000);
    expect((await peer.nextOther()).kind).toBe("probeRequest");
    peer.sendEvent({ kind: "probeResponse" });
    expect((await lost).code).toBe("camera.gone");
  });

  it("lets a camera be that never answered a probe", async () => {
    const { transport, peer } = await rig({ probeAfterMs: 5 });
    await transport.open(5_000);
    for (let count = 0; count < 6; count += 1) await peer.nextOther();
    const answered = ask(transport, 1);
    await peer.nextRequest();
    peer.respond(1, OK);
    expect((await answered).responseCode).toBe(OK);
  });

  it("skips a packet of unknown type 200 and goes on", async () => {
    const { transport, peer } = await rig();
    await transport.open(5_000);
    const answered = ask(transport, 1);
    await peer.nextRequest();
    peer.send({ kind: "unknown", type: 200, payload: Uint8Array.of(1, 2, 3) });
    peer.respond(1, OK);
    expect((await answered).responseCode).toBe(OK);
  });

  it.each([
    ["a length below 8", [7, 0, 0, 0, 7, 0, 0, 0]],
    ["a response of 4 GiB", [255, 255, 255, 255, 7, 0, 0, 0]],
    ["data of 32 MiB", [0, 0, 0, 2, 10, 0, 0, 0]],
    ["a response with half a parameter", [16, 0, 0, 0, 7, 0, 0, 0, 1, 32, 1, 0, 0, 0, 0, 0]],
  ])("drops the link at %s", async (_, bytes) => {
    const { transport, peer } = await rig();
    await transport.open(5_000);
    const answered = ask(transport, 1);
    await peer.nextRequest();
    peer.sendBytes(Uint8Array.from(bytes));
    await expect(answered).rejects.toMatchObject({ code: "camera.gone" });
  });

  it("takes a cancel of the camera's own, by packet and by event, as the end of the transaction", async () => {
    const { transport, peer } = await rig();
    await transport.open(5_000);
    const first = ask(transport, 1);
    await peer.nextRequest();
    peer.event(0x4001, 1);
    peer.respond(1, 0x201f);
    const failure = await first.catch((thrown: NightError) => thrown);
    // The response may be read before the event, which travels on the other connection.
    if ("responseCode" in failure) expect(failure.responseCode).toBe(0x201f);
    else expect(failure.code).toBe("ptp.cancelled");
    const second = ask(transport, 2);
    await peer.nextRequest();
    peer.event(0x4001, 1); // of a transaction that is over: ignored
    peer.respond(2, OK);
    expect((await second).responseCode).toBe(OK);
  });

  it("survives 150 packets out of place and drops the link at more", async () => {
    const { transport, peer } = await rig();
    await transport.open(5_000);
    const first = ask(transport, 1);
    await peer.nextRequest();
    for (let count = 0; count < 150; count += 1) peer.send({ kind: "initEventAck" });
    peer.respond(1, OK);
    expect((await first).responseCode).toBe(OK);
    const second = ask(transport, 2);
    await peer.nextRequest();
    for (let count = 0; count < 100; count += 1) peer.respond(1, OK);
    await expect(second).rejects.toMatchObject({ code: "camera.gone" });
  });
});

/** A port that was open a moment ago and is closed now. */
async function freePort(): Promise<number> {
  const camera = new FakeIpCamera();
  const port = await camera.listen();
  await camera.stop();
  return port;
}

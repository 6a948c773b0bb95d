import { chmodSync, existsSync, readFileSync, writeFileSync } from "node:fs";
import { createServer, type Server } from "node:http";
import type { AddressInfo } from "node:net";
import { join } from "node:path";
import { describe, expect, it, onTestFinished, vi } from "vitest";
import { AlarmCalls, type AlarmWays } from "../../../controller/daemon/alarmCalls.ts";
import type { StateNotice, WatchView } from "../../../core/api/messages.ts";
import { utcMs } from "../../../core/units.ts";
import { STATE_LOOKS } from "../../../core/words/stateWords.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";

const WAIT = { timeout: 30_000 };
/** What a shell would make something of. */
const SENTENCE = `The shutter may be open since 23:12; $(touch "$0") \`id\` && "switch it off".`;

function looseShutter(minute: number) {
  const state: StateNotice = {
    ...{ kind: "shutterLoose", sentence: SENTENCE, sinceUtcMs: null },
    ...STATE_LOOKS.shutterLoose,
  };
  const watch = { cameraId: "camera-1", cameraLabel: "A camera", states: [state] };
  const nowUtcMs = utcMs(Date.UTC(2026, 10, 30, 22, minute));
  return { watches: [watch as unknown as WatchView], nowUtcMs };
}

/** A program of the person's own. */
function program(body: string): string {
  const path = join(temporaryFolder(), "wake-me");
  writeFileSync(path, `#!/bin/sh\n${body}\n`);
  chmodSync(path, 0o755);
  return path;
}

async function listen(server: Server): Promise<string> {
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  onTestFinished(() => void server.close());
  onTestFinished(() => server.closeAllConnections());
  return `http://127.0.0.1:${(server.address() as AddressInfo).port}/`;
}

function callsBy(ways: Partial<AlarmWays>, callMsMax?: number) {
  const logged: { readonly event: string; readonly fields: Record<string, unknown> }[] = [];
  const note = (event: string, fields = {}): void => void logged.push({ event, fields });
  const calls = new AlarmCalls({
    ways: { command: null, webhook: null, ...ways },
    log: { info: note, warn: note, error: note },
    ...(callMsMax === undefined ? {} : { callMsMax }),
  });
  return { calls, logged };
}

describe("an alarm", () => {
  it("reaches the person's own command by its input, never through a shell", async () => {
    const reported = join(temporaryFolder(), "reported.json");
    const { calls } = callsBy({
      command: program(`cat > ${reported}.part; mv ${reported}.part ${reported}`),
    });
    calls.see(looseShutter(0));
    calls.see(looseShutter(1));
    await vi.waitFor(() => expect(existsSync(reported)).toBe(true), WAIT);
    expect(JSON.parse(readFileSync(reported, "utf8"))).toEqual({
      ...{ kind: "trouble", camera: "A camera", state: "shutterLoose", sentence: SENTENCE },
      at: "2026-11-30T22:00:00Z",
    });
  });

  it("reaches a webhook once", async () => {
    const bodies: string[] = [];
    const webhook = await listen(
      createServer((request, response) => {
        request.setEncoding("utf8").on("data", (piece: string) => bodies.push(piece));
        request.on("end", () => response.end());
      }),
    );
    const { calls } = callsBy({ webhook });
    for (const minute of [0, 1, 2]) calls.see(looseShutter(minute));
    await vi.waitFor(() => expect(bodies).toHaveLength(1), WAIT);
    expect(JSON.parse(bodies[0]!)).toMatchObject({ kind: "trouble", sentence: SENTENCE });
  });

  it("holds nothing up when command and webhook hang, and says in the log that they failed", async () => {
    const webhook = await listen(createServer(() => undefined));
    const { calls, logged } = callsBy({ command: program("sleep 600"), webhook }, 50);
    calls.see(looseShutter(0));
    const failures = () => logged.filter(({ event }) => event === "alarm.failed");
    await vi.waitFor(() => expect(failures()).toHaveLength(2), WAIT);
    expect(
      failures()
        .map(({ fields }) => fields["way"])
        .sort(),
    ).toEqual(["command", "webhook"]);
  });

  it("makes no more than four calls at once", async () => {
    const webhook = await listen(createServer(() => undefined));
    const { calls, logged } = callsBy({ webhook }, 60_000);
    for (let tries = 0; tries < 6; tries += 1) calls.tryOut("now", "A trial.");
    expect(logged.filter(({ event }) => event === "alarm.not_called")).toHaveLength(2);
  });

  it("of a command that is not there costs a line in the log", async () => {
    const { calls, logged } = callsBy({ command: "/nowhere/wake-me" });
    calls.see(looseShutter(0));
    await vi.waitFor(
      () => expect(logged.map(({ event }) => event)).toContain("alarm.failed"),
      WAIT,
    );
  });
});

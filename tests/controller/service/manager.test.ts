import { describe, expect, it, vi } from "vitest";
import { beatForWatchdog, Pulse, serviceManager } from "../../../controller/service/manager.ts";

describe("the service manager's watchdog", () => {
  it("is fed as long as every thread that has ever beaten beats, and after its last beat", () => {
    const pulse = new Pulse();
    expect(pulse.isSteady()).toBe(true);
    pulse.note({ thread: 1, isLast: false });
    pulse.note({ thread: 2, isLast: false });
    expect(pulse.isSteady()).toBe(true);
    pulse.note({ thread: 1, isLast: false });
    expect(pulse.isSteady()).toBe(false);
    pulse.note({ thread: 1, isLast: false });
    pulse.note({ thread: 2, isLast: true });
    expect(pulse.isSteady()).toBe(true);
    expect(pulse.isSteady()).toBe(false);
  });

  it("hears a timing thread beat, and hears of the beginning and the end", async () => {
    const env = { NOTIFY_SOCKET: "/run/made-up", WATCHDOG_USEC: "40000" };
    const said: string[] = [];
    const manager = serviceManager(env, (message) => said.push(message));
    const beatLast = beatForWatchdog(env, 1);
    manager.ready();
    await vi.waitFor(() => {
      expect(said.filter((word) => word === "WATCHDOG=1").length).toBeGreaterThan(2);
    }, 20_000);
    beatLast();
    manager.stopping();
    expect(said[0]).toBe("READY=1");
    expect(said.at(-1)).toBe("STOPPING=1");
  });

  it("is not spoken to where none started the program", () => {
    const said: string[] = [];
    const manager = serviceManager({}, (message) => said.push(message));
    manager.ready();
    manager.stopping();
    expect(said).toEqual([]);
  });
});

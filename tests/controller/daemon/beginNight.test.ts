import { readdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { startProgram } from "../../support/program.ts";
import { temporaryFolder } from "../../support/temporaryFolder.ts";
import { startTestCamera } from "../../support/testCamera.ts";

const PLACE = { latitudeDeg: 68.9, longitudeDeg: 27 };

/** The program as one starts it who has never named a camera. */
function startPage(data: string) {
  const program = startProgram("controller/main.ts", [
    ...["--no-demo", "--port", "0", "--data", data],
    ...["--max-exposure-seconds", "1"],
  ]);
  onTestFinished(() => void program.child.kill("SIGKILL"));
  return program;
}

async function post(address: string, path: string, body: unknown) {
  const response = await fetch(`${address}api/${path}`, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(body),
  });
  return { ok: response.ok, answer: (await response.json()) as Record<string, unknown> };
}

describe("a night that is begun from the page", () => {
  it("is watched with the chosen camera, and goes on with it after a kill", async () => {
    const device = await startTestCamera({ rate: 1, busySeconds: 0.2 });
    onTestFinished(() => device.close());
    const data = temporaryFolder();
    const camera = `ip:127.0.0.1:${device.port}`;
    const program = startPage(data);
    const [, address] = await program.prints(/The page: (http:\S+)/);

    const tried = await post(address!, "cameras/try", { camera });
    expect(tried.ok, JSON.stringify(tried.answer)).toBe(true);
    expect(tried.answer["label"]).toContain(`(127.0.0.1:${device.port})`);
    const begun = await post(address!, "begin", { camera, ...PLACE, when: "now" });
    expect(begun.ok, JSON.stringify(begun.answer)).toBe(true);
    await program.prints(/#0002/);
    const view = (await (await fetch(`${address}api/state`)).json()) as {
      readonly watches: readonly { readonly phase: string }[];
      readonly night: { readonly latitudeDeg: number };
    };
    expect(view.watches).toHaveLength(1);
    expect(view.night.latitudeDeg).toBe(PLACE.latitudeDeg);
    const refused = await post(address!, "begin", { camera, ...PLACE, when: "now" });
    expect(refused.answer["sentence"]).toMatch(/A watch is running; stop it first/);

    program.child.kill("SIGKILL");
    await program.ended;
    const second = startPage(data);
    await second.prints(/begun from the page with ip:127\.0\.0\.1:\d+; it goes on/);
    await second.prints(/was cut off; the watch goes on with frame/);
    await second.prints(/#000[4-9]/);
    expect(readdirSync(join(data, "nights"))).toHaveLength(1);
    second.child.kill("SIGTERM");
    expect(await second.ended, second.printed()).toBe(0);
  }, 180_000);

  it("ends the demo that was running, and goes to the real nights' folder", async () => {
    const device = await startTestCamera({ rate: 1, busySeconds: 0.2 });
    onTestFinished(() => device.close());
    const data = temporaryFolder();
    const program = startProgram("controller/main.ts", [
      ...["--port", "0", "--data", data, "--max-exposure-seconds", "1"],
    ]);
    onTestFinished(() => void program.child.kill("SIGKILL"));
    const [, address] = await program.prints(/The page: (http:\S+)/);
    await program.prints(/Demo night[^]*#0001/);
    const camera = `ip:127.0.0.1:${device.port}`;
    const begun = await post(address!, "begin", { camera, ...PLACE, when: "now" });
    expect(begun.ok, JSON.stringify(begun.answer)).toBe(true);
    await program.prints(/The night night\.[^]*#0002/);
    expect(readdirSync(join(data, "nights"))).toHaveLength(1);
    expect(readdirSync(join(data, "demo", "nights"))).toHaveLength(1);
    program.child.kill("SIGTERM");
    expect(await program.ended, program.printed()).toBe(0);
  }, 180_000);

  it("says what is wrong with a choice, and begins nothing", async () => {
    const data = temporaryFolder();
    const program = startPage(data);
    const [, address] = await program.prints(/The page: (http:\S+)/);
    const nobody = { camera: "ip:127.0.0.1:9", ...PLACE, when: "now" };
    const choices: readonly [unknown, RegExp][] = [
      [nobody, /127\.0\.0\.1:9/],
      [{ ...nobody, camera: "virtual" }, /usb:SERIAL/],
      [{ ...nobody, camera: "usb,usb" }, /usb:SERIAL/],
      [{ ...nobody, latitudeDeg: 91 }, /Latitude must be from -90 to 90/],
      [{ ...nobody, when: "later" }, /dusk or now/],
      [{ camera: "usb", when: "now" }, /latitudeDeg is needed/],
      [{ ...nobody, settings: { isoMax: 1 } }, /ISO cap/],
      [{ ...nobody, folder: "/tmp" }, /not begun with/],
    ];
    for (const [choice, sentence] of choices) {
      const { ok, answer } = await post(address!, "begin", choice);
      expect({ ok, sentence: answer["sentence"] }).toEqual({
        ok: false,
        sentence: expect.stringMatching(sentence) as string,
      });
    }
    expect(readdirSync(data)).not.toContain("begun-with.json");
    program.child.kill("SIGTERM");
    expect(await program.ended).toBe(0);
  }, 120_000);

  it("starts with its page alone when the choice cannot be read", async () => {
    const data = temporaryFolder();
    writeFileSync(join(data, "begun-with.json"), "{");
    const program = startPage(data);
    const [, address] = await program.prints(/The page: (http:\S+)/);
    const view = await (await fetch(`${address}api/begin`)).json();
    expect(view).toEqual({ last: null, refusal: null });
    program.child.kill("SIGTERM");
    expect(await program.ended).toBe(0);
  }, 60_000);
});

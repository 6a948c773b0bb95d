import { expect, test } from "vitest";

import { axeFaults, hold, PHONE, settle } from "./openedPage.ts";
import { servedNight } from "./servedNight.ts";

const at = servedNight({ frameCount: 6 });

const reported = (): string[] => at.night.commands.map(({ command }) => command.kind);
const button = (name: string) => at.page.getByRole("button", { name, exact: true });

test("pauses when held for one second, and not when let go before", async () => {
  await at.open();
  await button("Pause").click();
  await at.page.getByText("Hold for one second; a short touch").waitFor();
  expect(reported()).toEqual([]);
  await hold(at.page, button("Pause"), "Paused after the open frame");
  expect(reported()).toEqual(["pause"]);
  await button("Undo").click();
  await expect.poll(reported).toEqual(["pause", "resume"]);
});

test("fills a ring while it is held, and empties it when the finger slides off", async () => {
  await at.open("#watch", PHONE);
  await button("Stop").scrollIntoViewIfNeeded();
  await button("Stop").hover();
  await at.page.mouse.down();
  const offset = async (): Promise<number> =>
    Number(await button("Stop").locator(".ring").getAttribute("stroke-dashoffset"));
  const empty = 2 * Math.PI * 10;
  await expect.poll(offset).toBeLessThan(empty * 0.7);
  await at.page.mouse.move(5, 5);
  await expect.poll(offset).toBeCloseTo(empty, 5);
  await at.page.mouse.up();
  expect(reported()).toEqual([]);
});

test("goes on being held when a new frame's longer reasons push the button from under the finger", async () => {
  await at.open();
  await button("Pause").hover();
  await at.page.mouse.down();
  const before = (await button("Pause").boundingBox())!;
  await button("Pause").evaluate((element) => {
    element.style.translate = "0 -160px";
  });
  expect((await button("Pause").boundingBox())!.y).toBeLessThan(before.y - before.height);
  await at.page.getByText("Paused after the open frame").waitFor();
  await at.page.mouse.up();
  expect(reported()).toEqual(["pause"]);
});

test("asks by key at the top, far from the buttons, and begins on the answer that changes nothing", async () => {
  await at.open();
  await at.page.keyboard.press("b");
  const dialog = at.page.getByRole("alertdialog");
  await dialog.waitFor();
  await expect
    .poll(() => at.page.evaluate(() => document.activeElement?.textContent))
    .toBe("Keep watching");
  const [asked, held] = [(await dialog.boundingBox())!, (await button("Pause").boundingBox())!];
  expect(held.y).toBeGreaterThan(asked.y + asked.height + 48);
  await at.page.keyboard.press("Enter");
  await dialog.waitFor({ state: "detached" });
  // The keys that reject and pick pictures elsewhere do nothing here.
  for (const key of ["p", "x"]) await at.page.keyboard.press(key);
  expect(await dialog.count()).toBe(0);
  expect(reported()).toEqual([]);
  await button("Stop").focus();
  await at.page.keyboard.press("Enter");
  await dialog.waitFor();
  expect(await axeFaults(at.page)).toEqual([]);
  await at.page.keyboard.press("Escape");
  await dialog.waitFor({ state: "detached" });
  expect(reported()).toEqual([]);
});

test("takes an end with a pause that the hand chooses", async () => {
  await at.open();
  await at.page.keyboard.press("b");
  await button("30 min").click();
  await expect.poll(reported).toEqual(["pause"]);
  const { command } = at.night.commands[0]!;
  const minutes =
    command.kind === "pause" ? (command.untilUtcMs! - at.night.view().nowUtcMs) / 60_000 : 0;
  expect(minutes).toBeGreaterThan(29);
  expect(minutes).toBeLessThan(36);
});

test("closes a stopped night only after ten seconds, which undo takes back", async () => {
  await at.open();
  await at.page.clock.install();
  await hold(at.page, button("Stop"), /the night is closed in \d+ s/);
  expect(reported()).toEqual(["pause"]);
  await at.page.clock.runFor(5000);
  expect(reported()).toEqual(["pause"]);
  await button("Undo").click();
  await expect.poll(reported).toEqual(["pause", "resume"]);
  await at.page.clock.runFor(20_000);
  expect(reported()).toEqual(["pause", "resume"]);
  await hold(at.page, button("Stop"), /the night is closed in \d+ s/);
  await at.page.clock.runFor(10_500);
  await expect.poll(reported).toEqual(["pause", "resume", "pause", "stop"]);
  await button("Start again").waitFor();
});

test("shows no second button where the first one was", async () => {
  await at.open();
  const before = (await button("Pause").boundingBox())!;
  await hold(at.page, button("Pause"), "Paused after the open frame");
  await button("Resume").waitFor();
  await settle(at.page);
  const middle = { x: before.x + before.width / 2, y: before.y + before.height / 2 };
  const there = await at.page.evaluate(({ x, y }) => {
    const under = document.elementFromPoint(x, y)?.closest("button");
    return under instanceof HTMLButtonElement && !under.disabled ? under.textContent : null;
  }, middle);
  expect(there).toBeNull();
});

test("shows a refusal as the daemon's own sentence", async () => {
  await at.open();
  at.night.command = () => {
    throw Object.assign(new Error(), {});
  };
  await hold(at.page, button("Pause"), "the night goes on");
  expect(reported()).toEqual([]);
});

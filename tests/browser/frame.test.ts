import { expect, test } from "vitest";

import { LAPTOP, PHONE, settle } from "./openedPage.ts";
import { servedNight } from "./servedNight.ts";

const FRAME_COUNT = 20;
const at = servedNight({ frameCount: FRAME_COUNT });

async function boxOf(
  testId: string,
): Promise<{ x: number; y: number; width: number; height: number }> {
  return (await at.page.getByTestId(testId).boundingBox())!;
}

test("gives the frame 540 px of height at 1366 x 768, with all that says how the night goes beside it", async () => {
  await at.open();
  const picture = await boxOf("frame-picture");
  expect(picture.height).toBeGreaterThanOrEqual(540);
  expect(picture.width).toBeGreaterThanOrEqual(800);
  expect(picture.y + picture.height).toBeLessThanOrEqual(LAPTOP.height);
  const page = at.page;
  for (const part of [
    page.getByTestId("sentence"),
    page.getByRole("slider"),
    page.getByTestId("remaining-next"),
    page.getByTestId("frame-details"),
    page.getByText("Time left"),
    page.getByRole("heading", { name: "What happened" }),
  ]) {
    const box = (await part.boundingBox())!;
    expect(box.y + box.height).toBeLessThanOrEqual(LAPTOP.height);
  }
});

test("begins the frame in the upper third at 360 x 740, and leaves nothing that stops the night before it", async () => {
  await at.open("#watch", PHONE);
  const picture = await boxOf("frame-picture");
  expect(picture.width).toBe(PHONE.width);
  expect(picture.y).toBeLessThanOrEqual(PHONE.height / 3);
  const line = await boxOf("frame-line");
  expect(line.y + line.height).toBeLessThan(PHONE.height);
  const text = (await at.page.getByTestId("frame-line").innerText()).replaceAll("\u00a0", " ");
  expect(text).toMatch(/^[\d.]+ s · ISO \d+ · [+−]\d\.\d\d · next \d+ s$/);
  const pause = (await at.page.getByRole("button", { name: /^Pause/ }).boundingBox())!;
  const whole = await at.page.evaluate(() => document.documentElement.scrollHeight);
  expect(whole - pause.y).toBeLessThan(PHONE.height / 2);
});

test("puts the figures away for a larger frame, and remembers it", async () => {
  await at.open("#watch", { width: 1200, height: 900 });
  const before = (await boxOf("frame-picture")).width;
  await at.page.getByRole("button", { name: "Figures" }).click();
  await at.page.getByTestId("frame-details").waitFor({ state: "detached" });
  const after = (await boxOf("frame-picture")).width;
  expect(after).toBeGreaterThan(before + 100);
  await at.page.reload();
  await at.page.getByTestId("frame-picture").waitFor();
  expect(await at.page.getByTestId("frame-details").count()).toBe(0);
});

test("shows the frame over the whole screen, steps there by arrows, and comes back by Escape", async () => {
  await at.open();
  await at.page.keyboard.press("v");
  await expect.poll(async () => (await boxOf("frame-picture")).height).toBe(LAPTOP.height);
  await at.page.keyboard.press("ArrowLeft");
  await at.page
    .getByRole("heading", { name: `Frame ${FRAME_COUNT - 2}` })
    .first()
    .waitFor();
  await at.page
    .locator(`[data-testid=frame-picture][src*="/frames/${FRAME_COUNT - 2}/"]`)
    .waitFor();
  await at.page.keyboard.press("v");
  await expect.poll(async () => (await boxOf("frame-picture")).height).toBeLessThan(700);
  await at.page.keyboard.press("v");
  await at.page.keyboard.press("Escape");
  await expect.poll(async () => (await boxOf("frame-picture")).height).toBeLessThan(700);
});

test("looks at the camera's own file pixel by pixel where it was tapped, and keeps the place from frame to frame", async () => {
  await at.open("#watch", PHONE);
  await settle(at.page);
  const picture = await boxOf("frame-picture");
  await at.page.mouse.click(picture.x + picture.width * 0.25, picture.y + picture.height * 0.25);
  // The file is 240 pixels wide: one to one on this screen.
  await expect.poll(async () => (await boxOf("frame-picture")).width).toBe(240);
  await expect
    .poll(() => at.page.getByTestId("frame-picture").getAttribute("src"))
    .toContain("width=0");
  await at.page.keyboard.press("ArrowLeft");
  await at.page
    .locator(`[data-testid=frame-picture][src*="/frames/${FRAME_COUNT - 2}/"]`)
    .waitFor();
  expect((await boxOf("frame-picture")).width).toBe(240);
  await at.page.keyboard.press("o");
  await expect.poll(async () => (await boxOf("frame-picture")).width).toBe(PHONE.width);
});

test("keeps and leaves out by keys in the morning, with the frame as large as by night", async () => {
  await at.open("#morning");
  expect((await boxOf("frame-picture")).height).toBeGreaterThanOrEqual(540);
  await at.page.keyboard.press("Home");
  for (let step = 0; step < 7; step += 1) await at.page.keyboard.press("ArrowRight");
  await at.page.keyboard.press("y");
  await expect.poll(() => at.deliveries.picks.get(7)).toBe("keep");
  await at.page.keyboard.press("ArrowRight");
  await at.page.keyboard.press("n");
  await expect.poll(() => at.deliveries.picks.get(8)).toBe("leave");
  // The keys that sort pictures elsewhere do nothing here.
  await at.page.keyboard.press("ArrowRight");
  for (const key of ["p", "x"]) await at.page.keyboard.press(key);
  await at.page.keyboard.press("ArrowLeft");
  await at.page.keyboard.press("n");
  await expect.poll(() => at.deliveries.picks.has(8)).toBe(false);
  expect(at.deliveries.picks.has(9)).toBe(false);
  expect(at.problems).toEqual([]);
});

import { expect, test } from "vitest";

import { PHONE } from "./openedPage.ts";
import { servedNight } from "./servedNight.ts";

const FRAME_COUNT = 60;
const at = servedNight({ frameCount: FRAME_COUNT });

const MINUTE_MS = 60_000;
const strip = () => at.page.getByRole("slider");
const shownFrame = async (): Promise<number> => Number(await strip().getAttribute("aria-valuenow"));

/** The stretch that the strip shows, in minutes; null: the whole night. */
function shown(): { from: number; minutes: number } | null {
  const says = new URLSearchParams(new URL(at.page.url()).hash.split("?")[1] ?? "");
  const [from, to] = [says.get("from"), says.get("to")];
  if (from === null || to === null) return null;
  const minutes = (Date.parse(to) - Date.parse(from)) / MINUTE_MS;
  return { from: Date.parse(from) / MINUTE_MS, minutes };
}

async function box(): Promise<{ x: number; y: number; width: number; height: number }> {
  return (await strip().boundingBox())!;
}

test("zooms by the wheel around the pointer down to one minute, pans by dragging, and picks by a tap", async () => {
  await at.open();
  const { x, y } = await box();
  const [pointX, pointY] = [x + 60, y + 50];
  await at.page.mouse.move(pointX, pointY);
  for (let notch = 0; notch < 3; notch += 1) await at.page.mouse.wheel(0, -100);
  await expect.poll(() => shown()?.minutes ?? Infinity).toBeLessThan(7 * 60);
  const wide = shown()!;
  await at.page.mouse.down();
  await at.page.mouse.move(pointX + 20, pointY);
  await at.page.mouse.move(pointX - 50, pointY);
  await at.page.mouse.up();
  await expect.poll(() => shown()!.from).toBeGreaterThan(wide.from);
  expect(shown()!.minutes).toBeCloseTo(wide.minutes, 1);
  // A drag picked nothing; a tap does.
  expect(await shownFrame()).toBe(FRAME_COUNT - 1);
  await at.page.mouse.click(x + 2, pointY);
  await expect.poll(shownFrame).toBeLessThan(FRAME_COUNT - 1);
  for (let notch = 0; notch < 40; notch += 1) await at.page.mouse.wheel(0, -100);
  await expect.poll(() => shown()?.minutes).toBeCloseTo(1, 1);
});

test("zooms by its buttons and keys, and shows the whole night again", async () => {
  await at.open();
  await at.page.getByRole("button", { name: "Shorter stretch" }).click();
  await expect.poll(() => shown()?.minutes ?? Infinity).toBeLessThan(8 * 60);
  const before = shown()!.minutes;
  await strip().focus();
  await at.page.keyboard.press("ArrowUp");
  await expect.poll(() => shown()!.minutes).toBeCloseTo(before / 2, 0);
  await at.page.keyboard.press("0");
  await expect.poll(shown).toBeNull();
});

type Finger = { readonly x: number; readonly y: number };

/** Puts fingers down, moves them through places, and takes them off. */
async function touch(steps: readonly (readonly Finger[])[]): Promise<void> {
  const session = await at.page.context().newCDPSession(at.page);
  await session.send("Emulation.setTouchEmulationEnabled", { enabled: true, maxTouchPoints: 5 });
  for (const [number, fingers] of steps.entries()) {
    await session.send("Input.dispatchTouchEvent", {
      type: number === 0 ? "touchStart" : "touchMove",
      touchPoints: fingers.map((finger, id) => ({ ...finger, id })),
    });
  }
  await session.send("Input.dispatchTouchEvent", { type: "touchEnd", touchPoints: [] });
}

test("leaves a scroll that begins on the strip to the page: nothing is picked or zoomed", async () => {
  await at.open("#watch", PHONE);
  const { x, y } = await box();
  await touch([0, 10, 20, 40, 80].map((up) => [{ x: x + 60, y: y + 50 - up }]));
  await expect.poll(() => at.page.evaluate(() => scrollY)).toBeGreaterThan(30);
  expect(await shownFrame()).toBe(FRAME_COUNT - 1);
  expect(shown()).toBeNull();
});

test("zooms where two fingers pull apart, and picks where one finger taps", async () => {
  await at.open("#watch", PHONE);
  const { x, y } = await box();
  await touch(
    [5, 10, 20, 40].map((apart) => [
      { x: x + 100 - apart, y: y + 40 },
      { x: x + 100 + apart, y: y + 40 },
    ]),
  );
  await expect.poll(() => shown()?.minutes ?? Infinity).toBeLessThan(5 * 60);
  expect(await shownFrame()).toBe(FRAME_COUNT - 1);
  await at.page.keyboard.press("0");
  await touch([[{ x: x + 3, y: y + 40 }]]);
  await expect.poll(shownFrame).toBeLessThan(FRAME_COUNT / 2);
});

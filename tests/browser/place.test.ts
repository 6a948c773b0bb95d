import { expect, test } from "vitest";

import { servedNight } from "./servedNight.ts";

const at = servedNight({ frameCount: 20 });

const hash = (): string => new URL(at.page.url()).hash;
const shownFrame = (): Promise<string | null> =>
  at.page.getByRole("slider").getAttribute("aria-valuenow");

test("goes back and forward through the parts and the frame that was picked", async () => {
  await at.open();
  await at.page.keyboard.press("Home");
  await expect.poll(shownFrame).toBe("0");
  await expect.poll(hash).toContain("frame=0");
  await at.page.keyboard.press("3");
  await at.page.getByRole("heading", { name: "Keepers" }).waitFor();
  await at.page.goBack();
  await at.page.getByRole("heading", { name: "Frame 0" }).waitFor();
  await expect.poll(shownFrame).toBe("0");
  await at.page.goBack();
  await at.page.getByRole("heading", { name: "Newest frame" }).waitFor();
  await at.page.goForward();
  await expect.poll(shownFrame).toBe("0");
  expect(at.problems).toEqual([]);
});

test("keeps frame and stretch over a reload, and opens them from a link", async () => {
  await at.open();
  for (let step = 0; step < 4; step += 1) await at.page.keyboard.press("ArrowLeft");
  for (let step = 0; step < 3; step += 1) await at.page.keyboard.press("c");
  await expect.poll(hash).toMatch(/frame=15.*from=.*to=/);
  const before = hash();
  await at.page.reload();
  await at.page.getByTestId("frame-picture").waitFor();
  await expect.poll(shownFrame).toBe("15");
  await expect.poll(hash).toBe(before);
  await at.page.keyboard.press("0");
  await expect.poll(hash).not.toContain("from=");
});

test("opens a frame of the morning by its link", async () => {
  const { nightId } = at.night.nights()[0]!;
  await at.open(`#morning?night=${nightId}&camera=virtual&frame=7`);
  await at.page.locator('[data-testid=frame-picture][src*="/frames/7/"]').waitFor();
  await expect.poll(shownFrame).toBe("7");
});

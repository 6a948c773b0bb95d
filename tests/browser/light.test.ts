import { expect, test } from "vitest";

import { strongest } from "./openedPage.ts";
import { servedNight } from "./servedNight.ts";

const at = servedNight({ frameCount: 4 });

test("is black from the first moment, before any style sheet or script has come", async () => {
  // The build must leave the text as it is, or its hash does not fit.
  const html = await (await fetch(at.server.address)).text();
  expect(html).toContain("<style>html{background:#000}</style>");
  const context = await at.browser.newContext({ viewport: { width: 400, height: 300 } });
  at.page = await context.newPage();
  const problems: string[] = [];
  at.page.on("console", (message) => problems.push(message.text()));
  await at.page.route("**/assets/**", (route) => route.abort());
  await at.page.goto(at.server.address, { waitUntil: "commit" });
  await at.page.locator("#page").waitFor({ state: "attached" });
  expect(await strongest(at.page)).toEqual({ red: 0, other: 0 });
  expect(problems.filter((text) => /Content Security Policy/.test(text))).toEqual([]);
});

test("dims without steps to nothing, and wakes when it is touched", async () => {
  await at.open();
  await at.page.getByRole("button", { name: "Watch" }).click();
  const slider = at.page.getByRole("slider", { name: "Brightness" });
  await slider.fill("0.437");
  const brightness = (): Promise<number> =>
    at.page.evaluate(() => Number(document.documentElement.style.getPropertyValue("--brightness")));
  expect(await brightness()).toBeCloseTo(0.437 ** 1.6, 6);
  await slider.fill("0");
  expect(await strongest(at.page)).toEqual({ red: 0, other: 0 });
  await at.page.mouse.click(700, 600);
  await expect.poll(brightness).toBeGreaterThan(0.02);
  expect(at.night.commands).toEqual([]);
});

test("prints red on black by night", async () => {
  await at.open();
  await at.page.emulateMedia({ media: "print" });
  const { red, other } = await strongest(at.page);
  expect(other).toBe(0);
  expect(red).toBeGreaterThan(100);
});

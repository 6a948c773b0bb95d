import { AxeBuilder } from "@axe-core/playwright";
import type { Browser, Locator, Page } from "playwright-core";
import sharp from "sharp";

export const LAPTOP = { width: 1366, height: 768 };
export const PHONE = { width: 360, height: 740 };

/** A page in a browser context of its own, and what went wrong on it. */
export type OpenedPage = { readonly page: Page; readonly problems: string[] };

export async function openPage(
  browser: Browser,
  url: string,
  viewport: { width: number; height: number } = LAPTOP,
): Promise<OpenedPage> {
  const context = await browser.newContext({ viewport, reducedMotion: "reduce" });
  const page = await context.newPage();
  page.setDefaultTimeout(30_000);
  const problems: string[] = [];
  page.on("pageerror", (error) => problems.push(error.message));
  page.on("console", (message) => {
    // The browser itself complains of a lost connection and of a refusal that a test asks for;
    // the page's own words on both are tested.
    if (
      message.type() === "error" &&
      !/ERR_CONNECTION|WebSocket|status of 4/.test(message.text())
    ) {
      problems.push(message.text());
    }
  });
  await page.goto(url);
  return { page, problems };
}

/** Holds a button with the mouse until what it does has begun to show. */
export async function hold(page: Page, button: Locator, shows: string | RegExp): Promise<void> {
  await button.scrollIntoViewIfNeeded();
  await button.hover();
  await page.mouse.down();
  await page.getByText(shows).waitFor();
  await page.mouse.up();
}

/** Waits until nothing is fetched any more and what came is drawn. */
export async function settle(page: Page): Promise<void> {
  await page.waitForLoadState("networkidle");
  await page.evaluate(
    () => new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve))),
  );
}

/** The strongest red, and the strongest green or blue, anywhere in what is on the screen. */
export async function strongest(
  page: Page,
  options: { masked?: string; fullPage?: boolean } = {},
): Promise<{ red: number; other: number }> {
  const png = await page.screenshot({
    fullPage: options.fullPage ?? false,
    mask: options.masked === undefined ? [] : [page.locator(options.masked)],
    maskColor: "#000000",
  });
  const { data, info } = await sharp(png).removeAlpha().raw().toBuffer({ resolveWithObject: true });
  let [red, other] = [0, 0];
  for (let at = 0; at < info.width * info.height * 3; at += 3) {
    red = Math.max(red, data[at] ?? 0);
    other = Math.max(other, data[at + 1] ?? 0, data[at + 2] ?? 0);
  }
  return { red, other };
}

/** What axe finds wrong by WCAG 2.2 AA and its own best practice, as readable lines. */
export async function axeFaults(page: Page): Promise<readonly string[]> {
  const { violations } = await new AxeBuilder({ page })
    .options({ resultTypes: ["violations"] })
    .withTags(["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"])
    .analyze();
  return violations.map(
    ({ id, nodes }) => `${id}: ${nodes.map(({ target }) => String(target)).join(", ")}`,
  );
}

/** Targets that a gloved finger would miss. */
export function smallTargets(page: Page): Promise<readonly string[]> {
  return page.evaluate(() =>
    [
      ...document.querySelectorAll(
        "button, a.button, summary, input[type=text], label:has(input[type=checkbox]), label:has(input[type=radio])",
      ),
    ]
      .map((element) => ({ name: element.textContent, box: element.getBoundingClientRect() }))
      .filter(({ box }) => box.width > 0 && (box.width < 48 || box.height < 48))
      .map(({ name, box }) => `${name}: ${box.width} × ${box.height}`),
  );
}

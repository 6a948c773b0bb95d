import { expect, it, onTestFinished } from "vitest";
import { buildPageIfStale } from "../../controller/pageBuild.ts";
import { launchChromium } from "../support/chromium.ts";
import { startProgram } from "../support/program.ts";
import { temporaryFolder } from "../support/temporaryFolder.ts";
import { startTestCamera } from "../support/testCamera.ts";
import { openPage } from "./openedPage.ts";

/** Somebody who has never seen the program, a camera in the network, and no word on a command line. */
it("connects a camera and begins the night from the page alone", async () => {
  await buildPageIfStale();
  const device = await startTestCamera({ rate: 1, busySeconds: 0.2 });
  onTestFinished(() => device.close());
  const program = startProgram("controller/main.ts", [
    ...["--no-demo", "--port", "0", "--data", temporaryFolder()],
  ]);
  onTestFinished(() => void program.child.kill("SIGKILL"));
  const [, address] = await program.prints(/The page: (http:\S+)/);
  const browser = await launchChromium();
  onTestFinished(() => browser.close());
  const { page, problems } = await openPage(browser, address!);
  page.setDefaultTimeout(60_000);

  // The page opens where something is to be done, and says what is missing.
  const now = page.getByRole("button", { name: "Begin now" });
  await page.getByText("Choose a camera first.").waitFor();
  expect(await now.isDisabled()).toBe(true);

  // One way to begin, and the camera before it: two panels of nearly one name sent people to the wrong one.
  const heads = await page.getByRole("heading", { level: 2 }).allInnerTexts();
  expect(heads.filter((head) => /camera|begin/i.test(head))).toEqual(["Camera", "Begin"]);

  const camera = page.getByLabel("Address in the network");
  const tryIt = page.getByRole("button", { name: "Try it" });
  await camera.fill("127.0.0.1:9");
  await camera.blur();
  await tryIt.click();
  await page.getByRole("alert").filter({ hasText: "127.0.0.1:9" }).waitFor();
  await camera.fill(`127.0.0.1:${device.port}`);
  await camera.blur();
  await tryIt.click();
  await page.getByText(/answers\.$/).waitFor();

  await page.getByText("Give the place first").waitFor();
  for (const [label, value] of [
    ["Latitude", "68.9"],
    ["Longitude", "27"],
  ] as const) {
    await page.getByLabel(label).fill(value);
    await page.getByLabel(label).blur();
  }
  await expect.poll(() => now.isEnabled(), { timeout: 60_000 }).toBe(true);
  await now.click();

  await page.getByTestId("frame-picture").waitFor();
  expect(new URL(page.url()).hash).toContain("watch");
  expect(problems).toEqual([]);
}, 300_000);

import { expect, test } from "vitest";

import { makeState } from "../support/madeUpNight.ts";
import { axeFaults, PHONE, smallTargets } from "./openedPage.ts";
import { servedNight } from "./servedNight.ts";

const at = servedNight({ frameCount: 2 });

/** Lets the test hear what the page sends to the speaker: its loudest sample since it was last asked. */
async function overhear(): Promise<void> {
  await at.page.addInitScript(() => {
    const connect = AudioNode.prototype.connect as (to: AudioNode) => AudioNode;
    const analysers: AnalyserNode[] = [];
    let loudest = 0;
    AudioNode.prototype.connect = function (this: AudioNode, to: AudioNode): AudioNode {
      if (to instanceof AudioDestinationNode) {
        const analyser = new AnalyserNode(this.context, { fftSize: 8192 });
        analysers.push(analyser);
        connect.call(this, analyser);
      }
      return connect.call(this, to);
    } as typeof AudioNode.prototype.connect;
    const samples = new Float32Array(8192);
    setInterval(() => {
      for (const analyser of analysers) {
        analyser.getFloatTimeDomainData(samples);
        loudest = Math.max(loudest, ...samples);
      }
    }, 40);
    Object.assign(window, {
      heard: () => {
        const before = loudest;
        loudest = 0;
        return before;
      },
    });
  });
  await at.page.reload();
  await at.page.getByTestId("frame-picture").waitFor();
}

const heard = (): Promise<number> =>
  at.page.evaluate(() => (window as unknown as { heard: () => number }).heard());

test("makes its three sounds at one touch, and rings for a shutter that may be open", async () => {
  await at.open();
  await overhear();
  await at.page.getByRole("button", { name: "Watch" }).click();
  for (const name of ["Trouble", "Surge", "No answer"]) {
    await at.page.getByRole("button", { name, exact: true }).click();
    await expect.poll(heard, { timeout: 10_000 }).toBeGreaterThan(0.5);
    await expect.poll(heard, { timeout: 10_000 }).toBe(0);
  }
  const trouble = { states: [makeState("shutterLoose")] };
  await at.page.getByLabel("Ring on this page").check();
  at.night.changeWatch(trouble);
  await expect.poll(heard, { timeout: 10_000 }).toBeGreaterThan(0.5);
  expect(at.problems).toEqual([]);
});

test("rings for nobody who has not asked for it, nor in quiet hours", async () => {
  await at.open();
  await overhear();
  await at.page.getByRole("button", { name: "Watch" }).click();
  await at.page.getByLabel("Ring on this page").check();
  for (const [label, hour] of [
    ["Quiet from (hour)", "0"],
    ["Quiet until (hour)", "24"],
  ] as const) {
    await at.page.getByLabel(label).fill(hour);
    await at.page.getByLabel(label).blur();
  }
  at.night.changeWatch({
    states: [makeState("shutterLoose")],
    sentence: "Trouble.",
    allIsWell: false,
  });
  await at.page.getByText("Trouble.").first().waitFor();
  expect(await heard()).toBe(0);
  await at.page.reload();
  await at.page.getByText("Touch the page once").waitFor();
  await at.page.getByRole("button", { name: "Watch" }).click();
  await at.page.getByText("Touch the page once").waitFor({ state: "detached" });
  expect(await at.page.getByLabel("Quiet until (hour)").inputValue()).toBe("24");
  await at.page.setViewportSize(PHONE);
  expect(await axeFaults(at.page)).toEqual([]);
  expect(await smallTargets(at.page)).toEqual([]);
});

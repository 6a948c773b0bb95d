import { expect, test } from "vitest";
import { fetchedOnce } from "../../../ui/lib/state/fetchedOnce.ts";

test("fetches once, and again only after a failure", async () => {
  let calls = 0;
  const get = fetchedOnce(() => {
    calls += 1;
    return calls === 1 ? Promise.reject(new Error("away")) : Promise.resolve(calls);
  });
  await expect(get()).rejects.toThrow("away");
  expect(await get()).toBe(2);
  expect(await get()).toBe(2);
  expect(calls).toBe(2);
});

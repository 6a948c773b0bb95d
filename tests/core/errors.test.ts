import { expect, it } from "vitest";
import { asNightError, NightError } from "../../core/errors.ts";

it("says of a mistake in our own code that it is one, and keeps it as the cause", () => {
  const mistake = new ReferenceError("size is not defined");
  const error = asNightError(mistake);
  expect(error.message).toMatch(/^Nattvakt has a fault of its own.*size is not defined\.$/);
  expect(error.code).toBe("invariant.violated");
  expect(error.cause).toBe(mistake);
});

it("leaves the words of a foreign error and of our own errors as they are", () => {
  expect(asNightError(new Error("no space left on device"), "archive.disk_full").message).toBe(
    "no space left on device",
  );
  const known = new NightError("camera.busy", "The camera is busy.");
  expect(asNightError(known)).toBe(known);
});

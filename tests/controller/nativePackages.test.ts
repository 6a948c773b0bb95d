import { expect, it } from "vitest";
import { nativeFailure, nativeFailureAtStart } from "../../controller/nativePackages.ts";

it("says which system library a binary misses and where Debian has it", () => {
  const thrown = Object.assign(
    new Error("libudev.so.1: cannot open shared object file: No such file or directory"),
    { code: "ERR_DLOPEN_FAILED" },
  );
  expect(nativeFailure(thrown, "usb")).toMatchObject({
    code: "package.no_binary",
    message: expect.stringMatching(
      /It said: libudev\.so\.1.*Install that library; on Debian/,
    ) as string,
  });
});

it("leaves every other error as it is", () => {
  const bug = new TypeError("undefined is not a function");
  expect(nativeFailure(bug, "usb")).toBe(bug);
  expect(nativeFailureAtStart(bug)).toBe(bug);
});

it("knows the package by the folder that its loader names, on Windows too", () => {
  const thrown = new Error(
    "No native build was found for platform=win32\n    loaded from: C:\\n\\node_modules\\@photostructure\\sqlite",
  );
  expect(nativeFailureAtStart(thrown)).toMatchObject({
    message: expect.stringMatching(/^The package @photostructure\/sqlite/) as string,
  });
});

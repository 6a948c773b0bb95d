import { NightError } from "../core/errors.ts";

/** Every one of these packages has binaries for the systems named here. */
const NEEDED =
  "Nattvakt cannot run without it; use a computer with Linux, macOS or Windows on x64 or arm64";

/** Packages with a compiled binary inside: what each is for, and how to go on without it. */
const PACKAGES: Readonly<Record<string, { readonly does: string; readonly instead: string }>> = {
  "@photostructure/sqlite": {
    does: "keeps the catalogue of a night",
    instead: NEEDED,
  },
  sharp: { does: "decodes pictures", instead: NEEDED },
  usb: {
    does: "speaks to cameras on USB",
    instead: "cameras on the network (--camera ip:HOST) and on a release contact work without it",
  },
  "node-hid": {
    does: "switches HID relays",
    instead: "serial release contacts and cameras on USB or the network work without it",
  },
  serialport: {
    does: "opens serial lines",
    instead: "cameras on USB or the network and HID relays work without it",
  },
};

/** How the loaders of these packages say that there is no binary; the last one is the system's own. */
const NO_BINARY = /No native build was found|Could not load the "sharp" module|prebuild/i;

/** That a package has no binary for this computer, as one sentence; anything else unchanged. */
export function nativeFailure(thrown: unknown, name: string): unknown {
  const known = PACKAGES[name];
  if (known === undefined || !(thrown instanceof Error) || !isBinaryMissing(thrown)) return thrown;
  const computer = `${process.platform}-${process.arch}`;
  const why = thrown.message.split("\n")[0]!.replace(/[.:\s]+$/, "");
  return new NightError(
    "package.no_binary",
    `The package ${name}, which ${known.does}, has no binary that runs on this computer (${computer}): ${known.instead}. It said: ${why}.${remedyFor(why)}`,
    { name },
    { cause: thrown },
  );
}

/** Loads a package that has a binary inside. @throws NightError `package.no_binary`. */
export async function importNative<Module>(
  name: string,
  load: () => Promise<Module>,
): Promise<Module> {
  try {
    return await load();
  } catch (thrown) {
    throw nativeFailure(thrown, name);
  }
}

/** Makes sure of packages before anything is begun. @throws NightError `package.no_binary`. */
export async function requireNative(names: readonly string[]): Promise<void> {
  for (const name of names) await importNative(name, () => import(name));
}

/** Of which package an error tells that was thrown before any of our code ran. */
export function nativeFailureAtStart(thrown: unknown): unknown {
  if (!(thrown instanceof Error)) return thrown;
  const text = `${thrown.message}\n${thrown.stack ?? ""}`.replaceAll("\\", "/");
  const words = text.split(/[\s"'():]+/);
  const name = Object.keys(PACKAGES).find((one) =>
    words.some((word) => word === one || `${word}/`.includes(`/node_modules/${one}/`)),
  );
  return name === undefined ? thrown : nativeFailure(thrown, name);
}

/** The binary is there and misses a library of the system. */
function remedyFor(why: string): string {
  return /cannot open shared object file/.test(why)
    ? " Install that library; on Debian the packages are libusb-1.0-0 and libudev1."
    : "";
}

function isBinaryMissing(thrown: Error): boolean {
  return (
    ("code" in thrown && thrown.code === "ERR_DLOPEN_FAILED") || NO_BINARY.test(thrown.message)
  );
}

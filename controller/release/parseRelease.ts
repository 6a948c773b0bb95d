import { NightError } from "../../core/errors.ts";
import type { FromFile } from "../../core/profiles/parse.ts";
import type { ReleaseProfile } from "../../core/profiles/releaseProfile.ts";
import { hidSystem, type HidIds } from "./hidContact.ts";
import type { ControlLine, ReleaseTarget } from "./releaseTarget.ts";

/** A release as asked for on the command line, with what its profile says of the body behind it. */
export type ChosenRelease = {
  readonly target: ReleaseTarget;
  /** What a body needs between two frames, seconds. */
  readonly busySeconds: number;
};

const HALF_PRESS_MS = 300;

/**
 * Reads `serial:PATH[:dtr|rts][:half][:low]` or `hid[:VENDOR:PRODUCT]`.
 *
 * @param listHid  The HID devices that are plugged in; asked only where no numbers are given.
 * @throws NightError `usage.invalid` for words that name no release, `release.gone` when no relay
 *   that a profile knows is plugged in.
 */
export async function chooseRelease(
  word: string,
  profiles: readonly FromFile<ReleaseProfile>[],
  listHid: () => Promise<readonly HidIds[]> = hidSystem.list,
): Promise<ChosenRelease> {
  if (word.startsWith("serial:")) return serialRelease(word, profiles);
  if (word === "hid") return relayAmong(await listHid(), profiles);
  const numbers = /^hid:([0-9a-f]{1,4}):([0-9a-f]{1,4})$/i.exec(word);
  if (!numbers) {
    throw new NightError(
      "usage.invalid",
      `--release takes serial:PATH[:dtr|rts][:half][:low] or hid[:VENDOR:PRODUCT], not "${word}"`,
    );
  }
  const ids = { vendorId: parseInt(numbers[1]!, 16), productId: parseInt(numbers[2]!, 16) };
  const relay = relayOf(ids, profiles);
  if (relay) return relay;
  throw new NightError(
    "usage.invalid",
    `no profile knows the relay ${numbers[1]}:${numbers[2]}; hardware-profiles/README.md says how to add one`,
  );
}

function serialRelease(word: string, profiles: readonly FromFile<ReleaseProfile>[]): ChosenRelease {
  const words = word.split(":").slice(1);
  // A path may have colons of its own; only the last words are ours.
  const taken = new Set<string>();
  while (words.length > 1 && /^(dtr|rts|half|low)$/.test(words.at(-1)!)) taken.add(words.pop()!);
  const path = words.join(":");
  // The names that systems give to ports end in a digit where they have a colon at all.
  const left = words.length > 1 ? words.at(-1)! : "";
  if (/^[a-z]*$/i.test(left) && words.length > 1) {
    throw new NightError(
      "usage.invalid",
      `--release ${word}: "${left}" is none of dtr, rts, half and low`,
    );
  }
  if (path === "" || (taken.has("dtr") && taken.has("rts"))) {
    throw new NightError("usage.invalid", `--release ${word} names no port, or both lines`);
  }
  const line: ControlLine = taken.has("rts") ? "rts" : "dtr";
  const other: ControlLine = line === "dtr" ? "rts" : "dtr";
  const halfLine = taken.has("half") ? other : null;
  const profile = profiles
    .map((found) => found.profile)
    .find((one) => one.kind === "serial" && one.line === line && one.halfLine === halfLine);
  return {
    busySeconds: profile?.busySeconds ?? 1,
    target: {
      kind: "serial",
      path,
      line,
      closedAt: taken.has("low") ? "low" : "high",
      halfLine,
      halfPressMs: profile?.kind === "serial" ? profile.halfPressMs : HALF_PRESS_MS,
    },
  };
}

function relayAmong(
  plugged: readonly HidIds[],
  profiles: readonly FromFile<ReleaseProfile>[],
): ChosenRelease {
  for (const ids of plugged) {
    const relay = relayOf(ids, profiles);
    if (relay) return relay;
  }
  throw new NightError(
    "release.gone",
    "No HID relay that a profile knows is plugged in; name it with --release hid:VENDOR:PRODUCT.",
  );
}

function relayOf(ids: HidIds, profiles: readonly FromFile<ReleaseProfile>[]): ChosenRelease | null {
  for (const { profile } of profiles) {
    if (profile.kind !== "hid") continue;
    const { usbVendorId, usbProductId } = profile.match;
    if (Number(usbVendorId) !== ids.vendorId || Number(usbProductId) !== ids.productId) continue;
    const { reportKind, closeReport, openReport, busySeconds } = profile;
    return { busySeconds, target: { kind: "hid", ...ids, reportKind, closeReport, openReport } };
  }
  return null;
}

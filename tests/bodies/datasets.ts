import { ByteSink } from "./bytes.ts";
import { EVENT, FORMAT } from "./codes.ts";
import type { MadeUpCamera } from "./camera.ts";
import type { Traits } from "./switches.ts";

/** Properties that a body may promise and then not know. */
const PROMISED = [0x5003, 0x5004, 0x5010, 0x5013, 0xd700];

/** DeviceInfo. Source: MTP 1.1, §5.1.1. */
export function deviceInfo({ traits, operations, properties }: MadeUpCamera): Buffer {
  const { info, events, vendor } = traits;
  const twice = (codes: readonly number[]): readonly number[] =>
    info === "doubles" ? [...codes, ...codes, 0] : codes;
  const names = {
    plain: ["Made-up", "Body", "1.0", "0001"],
    doubles: ["Made-up", "Body", "1.0", "0002"],
    promises: ["Made-up", "Body that promises", "2.1", "0003"],
    blank: ["", "", "", ""],
    wordy: ["M".repeat(250), "B".repeat(250), "V".repeat(250), "S".repeat(250)],
  }[info];
  const sink = new ByteSink()
    .u16(100)
    .u32(vendor)
    .u16(vendor === 0 ? 0 : 100)
    .text(info === "wordy" ? "x".repeat(254) : "")
    .u16(0)
    .array(16, twice(operations))
    .array(16, events === "none" ? [] : twice(Object.values(EVENT)))
    .array(16, twice([...properties.codes, ...(info === "promises" ? PROMISED : [])]))
    .array(16, [FORMAT.jpeg])
    .array(16, twice([FORMAT.jpeg, FORMAT.folder]));
  for (const name of names) sink.text(name);
  return sink.bytes();
}

/** StorageInfo. Source: MTP 1.1, §5.2.2. */
export function storageInfo(store: Traits["store"][number]): Buffer {
  return new ByteSink()
    .u16(4)
    .u16(3)
    .u16(0)
    .u64(128_000_000_000n)
    .u64(store.freeBytes)
    .u32(store.freeImages)
    .text("card")
    .text("")
    .bytes();
}

import type { BenchRow } from "./benchRow.ts";

/** Every bench by its group; loaded only when it is run. */
export const BENCHES: Readonly<Record<string, () => Promise<() => Promise<BenchRow[]>>>> = {
  render: async () => (await import("./render.ts")).benchRender,
  governor: async () => (await import("./governor.ts")).benchGovernor,
  cadence: async () => (await import("./cadence.ts")).benchCadence,
  demoNight: async () => (await import("./demoNight.ts")).benchDemoNight,
  meter: async () => (await import("./meter.ts")).benchMeter,
  shutter: async () => (await import("./shutter.ts")).benchShutter,
  shutterOrdinary: async () => (await import("./shutterOrdinary.ts")).benchShutterOrdinary,
  shutterDelivering: async () => (await import("./shutterDelivering.ts")).benchShutterDelivering,
  severalCameras: async () => (await import("./severalCameras.ts")).benchSeveralCameras,
  transfer: async () => (await import("./transfer.ts")).benchTransfer,
  tapedLink: async () => (await import("./tapedLink.ts")).benchTapedLink,
  usb: async () => (await import("./usb.ts")).benchUsb,
  strip: async () => (await import("./strip.ts")).benchStrip,
  archive: async () => (await import("./archive.ts")).benchArchive,
  deliver: async () => (await import("./deliver.ts")).benchDeliver,
};

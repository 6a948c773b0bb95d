import { createClock, startOrigin, type Clock } from "../../controller/timing/clock.ts";
import { CardFolder } from "../../controller/virtual-camera/cardFolder.ts";
import {
  DEFAULT_CAMERA_SETTINGS,
  type CameraFaults,
  type CameraSettings,
} from "../../controller/virtual-camera/cameraSettings.ts";
import { IpServer } from "../../controller/virtual-camera/ipServer.ts";
import { DEFAULT_IP_TIMING, type IpTiming } from "../../controller/virtual-camera/ipTiming.ts";
import { VirtualCamera } from "../../controller/virtual-camera/virtualCamera.ts";
import { createRandom } from "../../core/random.ts";
import { utcMs } from "../../core/units.ts";
import { createFlatField, TEST_IDENTITY, type FlatField } from "./flatField.ts";
import { fromHex } from "./hex.ts";

export type TestCameraOptions = Partial<Omit<CameraSettings, "faults">> & {
  readonly faults?: Partial<CameraFaults>;
  readonly timing?: Partial<IpTiming>;
  readonly rate?: number;
  readonly seed?: number;
  readonly pictureSize?: { readonly widthPx: number; readonly heightPx: number };
};

/** A virtual camera in this process, in front of a flat field, with whatever a test wants of it. */
export type TestCamera = {
  readonly camera: VirtualCamera;
  readonly clock: Clock;
  readonly pictures: FlatField;
  readonly reports: string[];
  /** Why it switched itself off; empty while it is on. */
  readonly offReasons: string[];
  close(): Promise<void>;
};

export const TEST_START_UTC_MS = utcMs(Date.UTC(2027, 2, 24, 18, 0, 0));

export function createTestCamera(options: TestCameraOptions = {}): TestCamera & {
  onLinkFault: () => void;
} {
  const { rate = 50, seed = 1, pictureSize, faults, ...settings } = options;
  const clock = createClock(startOrigin({ rate, startUtcMs: TEST_START_UTC_MS }));
  const pictures = createFlatField(pictureSize);
  const reports: string[] = [];
  const offReasons: string[] = [];
  const made = {
    camera: new VirtualCamera({
      identity: TEST_IDENTITY,
      settings: {
        ...DEFAULT_CAMERA_SETTINGS,
        ...settings,
        faults: { ...DEFAULT_CAMERA_SETTINGS.faults, ...faults },
      },
      clock,
      random: createRandom(seed),
      pictures,
      card: new CardFolder(),
      report: (line) => reports.push(line),
      onOff: (why) => offReasons.push(why),
      onLinkFault: () => made.onLinkFault(),
    }),
    ...{ clock, pictures, reports, offReasons },
    onLinkFault: () => {},
    close: () => made.camera.close(),
  };
  return made;
}

/** The same behind a TCP port of this machine. */
export async function startTestCamera(
  options: TestCameraOptions = {},
): Promise<TestCamera & { readonly port: number; readonly server: IpServer }> {
  const made = createTestCamera(options);
  const server = new IpServer({
    camera: made.camera,
    guid: fromHex("ffeeddccbbaa99887766554433221100"),
    friendlyName: "VCam",
    timing: { ...DEFAULT_IP_TIMING, probeMs: null, ...options.timing },
    report: (line) => made.reports.push(line),
  });
  made.onLinkFault = () => server.dropHost();
  const { port } = await server.listen("127.0.0.1", 0);
  return {
    ...made,
    ...{ port, server },
    close: async () => {
      await server.close();
      await made.camera.close();
    },
  };
}

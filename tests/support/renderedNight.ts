/** A small night of JPEG files whose sky, exposures and camera faults are known. */
import { join } from "node:path";
import sharp from "sharp";
import { Catalogue } from "../../controller/archive/catalogue.ts";
import { frameFileName, keepFrameFile } from "../../controller/archive/frameFiles.ts";
import { createNightFolder } from "../../controller/archive/nightFolder.ts";
import { framingKey } from "../../controller/archive/stateKeys.ts";
import { stopsFromMidGrey, type Exposure } from "../../core/exposure/exposure.ts";
import { encodeSrgb } from "../../core/photometry/srgb.ts";
import { createRandom } from "../../core/random.ts";
import { utcMs } from "../../core/units.ts";
import { NIGHT_START_UTC_MS, makeFrame, makeReading } from "./frameRecords.ts";

export type RenderedNightOptions = {
  readonly dataDir: string;
  readonly name?: string;
  readonly count?: number;
  readonly widthPx?: number;
  readonly heightPx?: number;
  readonly secondsBetween?: number;
  /** One standard deviation of what shutter and aperture scatter, stops. */
  readonly scatterStops?: number;
  /** log2 of the sky's luminance against 0.002 cd/m² at a time of the night. */
  readonly sky?: (seconds: number) => number;
  readonly exposure?: (seconds: number, frame: number) => Exposure;
  /** Altitude of a green arc; null: none. */
  readonly arcAltitudeDeg?: number | null;
  readonly seed?: number;
};

export type RenderedNight = {
  readonly nightDir: string;
  readonly nightId: string;
  /** The sky of each frame, stops. */
  readonly skyStops: readonly number[];
  readonly exposureStops: readonly number[];
};

/** 24 mm across a 36 mm sensor, looking 30 degrees up, north. */
const TEST_FRAMING = {
  altitudeDeg: 30,
  azimuthDeg: 0,
  focalLengthMm: 24,
  pictureHeightMm: 24,
};

const SKY_CD_M2 = 0.002;
/** Half height of the arc, pixels share. */
const ARC_SHARE = 0.02;

export async function renderNight(options: RenderedNightOptions): Promise<RenderedNight> {
  const {
    count = 20,
    widthPx = 360,
    heightPx = 240,
    secondsBetween = 10,
    scatterStops = 0,
    sky = () => 0,
    exposure = () => ({ exposureSeconds: 8, iso: 1600, fNumber: 2.8 }),
    arcAltitudeDeg = null,
  } = options;
  const random = createRandom(options.seed ?? 7);
  const info = {
    name: options.name ?? "Rendered",
    startUtcMs: NIGHT_START_UTC_MS,
    latitudeDeg: 68.9,
    elevationM: 212,
    longitudeDeg: 27,
    placeName: "Hut Seven",
    isRehearsal: true,
  };
  const nightDir = createNightFolder(options.dataDir, info);
  const catalogue = Catalogue.create(nightDir, info);
  catalogue.setState(framingKey("made-up"), TEST_FRAMING);
  const noise = Float64Array.from({ length: 65_537 }, () => random.normal());
  const skyStops: number[] = [];
  const exposureStops: number[] = [];
  for (let frameIndex = 0; frameIndex < count; frameIndex += 1) {
    const seconds = frameIndex * secondsBetween;
    const taken = exposure(seconds, frameIndex);
    const skyNow = sky(seconds);
    const stops = stopsFromMidGrey(SKY_CD_M2, taken) + skyNow + scatterStops * random.normal();
    const rgb = paint({ widthPx, heightPx, stops, arcAltitudeDeg, noise, frameIndex });
    const jpeg = await sharp(rgb, { raw: { width: widthPx, height: heightPx, channels: 3 } })
      .jpeg({ quality: 95, chromaSubsampling: "4:4:4" })
      .toBuffer();
    const kept = await keepFrameFile(nightDir, frameFileName(frameIndex), jpeg);
    catalogue.putFrame(
      makeFrame({
        frameIndex,
        ordered: taken,
        openedUtcMs: utcMs(NIGHT_START_UTC_MS + Math.round(seconds * 1000) + 250),
        file: { ...kept, cameraName: `IMG_${frameIndex}.JPG`, cameraHandle: frameIndex + 1 },
        reading: makeReading({
          skyStops: stops,
          skyLuminanceCdM2: SKY_CD_M2 * 2 ** skyNow,
        }),
      }),
    );
    skyStops.push(skyNow);
    exposureStops.push(Math.log2((taken.exposureSeconds * taken.iso) / taken.fNumber ** 2));
  }
  catalogue.close();
  const nightId = nightDir.slice(join(options.dataDir, "nights").length + 1);
  return { nightDir, nightId, skyStops, exposureStops };
}

type Painting = {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly stops: number;
  readonly arcAltitudeDeg: number | null;
  readonly noise: Float64Array;
  readonly frameIndex: number;
};

/** A bluish sky that brightens downwards, a dark foreground, noise, and perhaps an arc. */
function paint(painting: Painting): Uint8Array {
  const { widthPx, heightPx, stops, arcAltitudeDeg, noise, frameIndex } = painting;
  const rgb = new Uint8Array(widthPx * heightPx * 3);
  const arcShare = arcAltitudeDeg === null ? null : shareOf(arcAltitudeDeg);
  const light = 0.18 * 2 ** stops;
  let n = (frameIndex * 4099) % noise.length;
  for (let y = 0; y < heightPx; y += 1) {
    const share = (y + 0.5) / heightPx;
    const isGround = share > 0.92;
    const isArc = arcShare !== null && Math.abs(share - arcShare) < ARC_SHARE;
    const base = light * (isGround ? 0.03 : 0.85 + 0.3 * share);
    const colour = isArc ? [1.5 * base, 6 * base, 2 * base] : [0.8 * base, base, 1.2 * base];
    for (let x = 0; x < widthPx; x += 1) {
      for (let channel = 0; channel < 3; channel += 1) {
        const value = colour[channel]! * (1 + 0.08 * noise[n]!);
        rgb[(y * widthPx + x) * 3 + channel] = Math.round(255 * encodeSrgb(value));
        n = n + 1 === noise.length ? 0 : n + 1;
      }
    }
  }
  return rgb;
}

/** By the pinhole projection, written out once more here. */
function shareOf(altitudeDeg: number): number {
  const { altitudeDeg: middle, focalLengthMm, pictureHeightMm } = TEST_FRAMING;
  const angle = ((altitudeDeg - middle) * Math.PI) / 180;
  return 0.5 - (Math.tan(angle) * focalLengthMm) / pictureHeightMm;
}

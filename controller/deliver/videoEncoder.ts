import { spawn, spawnSync, type ChildProcess } from "node:child_process";
import { accessSync, chmodSync, constants, existsSync } from "node:fs";
import { rm, stat } from "node:fs/promises";
import { createRequire } from "node:module";
import { createInterface } from "node:readline";
import type { VideoKind } from "../../core/api/deliverMessages.ts";
import { NightError } from "../../core/errors.ts";
import { archiveError } from "../archive/archiveError.ts";
import { PART_ENDING, renameDurably } from "../durableWrite.ts";

/**
 * The video encoder is a program of its own, ffmpeg, run as a process: the system's where there is
 * one, else the binary that a package brings (a build under the GPL, version 3; nothing of it is
 * linked into this program).
 */
export function findVideoEncoder(
  places: { readonly system: string; readonly brought: () => string } = {
    system: "ffmpeg",
    brought: pathInPackage,
  },
): string {
  const works = (path: string): boolean =>
    spawnSync(path, ["-hide_banner", "-version"], { stdio: "ignore" }).status === 0;
  if (works(places.system)) return places.system;
  try {
    const path = places.brought();
    if (existsSync(path)) allowToRun(path);
    if (works(path)) return path;
  } catch (thrown) {
    if (thrown instanceof NightError) throw thrown;
    // The package has no binary for this machine; the sentence below says what to do.
  }
  throw new NightError(
    "deliver.failed",
    "There is no ffmpeg on this machine to make a video with; install it, or deliver with --video none.",
  );
}

function pathInPackage(): string {
  return (createRequire(import.meta.url)("@ffmpeg-installer/ffmpeg") as { path: string }).path;
}

/** The package leaves it to a script, which many installations do not run, to set the run bit. */
function allowToRun(path: string): void {
  try {
    accessSync(path, constants.X_OK);
  } catch {
    try {
      chmodSync(path, 0o755);
    } catch (thrown) {
      throw new NightError(
        "deliver.failed",
        `The video encoder ${path} is not marked as a program and this user may not change that; run "chmod +x" on it as its owner, install ffmpeg, or deliver with --video none.`,
        { path },
        { cause: thrown },
      );
    }
  }
}

export const VIDEO_ENDING: Readonly<Record<VideoKind, string>> = {
  h264: "mp4",
  vp9: "webm",
  av1: "av1.webm",
};

/** Quality at which grain of a night sky survives; common practice, no source. */
const CODEC_ARGUMENTS: Readonly<Record<VideoKind, readonly string[]>> = {
  h264: [
    ...["-c:v", "libx264", "-preset", "medium", "-crf", "17", "-profile:v", "high"],
    ...["-movflags", "+faststart"],
  ],
  vp9: [
    ...["-c:v", "libvpx-vp9", "-crf", "24", "-b:v", "0", "-deadline", "good", "-cpu-used", "4"],
    ...["-row-mt", "1", "-tile-columns", "2"],
  ],
  av1: [
    ...["-c:v", "libaom-av1", "-crf", "26", "-b:v", "0", "-cpu-used", "6"],
    // Encoders of the first years call AV1 experimental and need a flag that says it is meant.
    ...["-row-mt", "1", "-tiles", "2x2", "-strict", "-2"],
  ],
};

/** Largest even size that keeps the picture's shape inside the box; pictures are never enlarged. */
export function videoSize(
  picture: { readonly widthPx: number; readonly heightPx: number },
  box: { readonly widthPx: number; readonly heightPx: number },
): { readonly widthPx: number; readonly heightPx: number } {
  const scale = Math.min(1, box.widthPx / picture.widthPx, box.heightPx / picture.heightPx);
  const even = (px: number): number => Math.max(2, 2 * Math.round((px * scale) / 2));
  return { widthPx: even(picture.widthPx), heightPx: even(picture.heightPx) };
}

type VideoOrder = {
  readonly encoderPath: string;
  readonly kind: VideoKind;
  readonly outPath: string;
  readonly framesPerSecond: number;
  readonly widthPx: number;
  readonly heightPx: number;
  /** "pipe": JPEG files, one after another, through `write`; else a pattern like `%06d.tif`. */
  readonly source: "pipe" | { readonly pattern: string };
  /** What the file says of itself, by the encoder's own names. */
  readonly tags: Readonly<Record<string, string>>;
};

/**
 * The encoder's arguments. JPEG codes are full-range BT.601 with sRGB's primaries; video is BT.709,
 * studio range, and says so in every tag.
 */
export function encoderArguments(order: VideoOrder): string[] {
  const rate = String(order.framesPerSecond);
  const input =
    order.source === "pipe"
      ? ["-f", "image2pipe", "-c:v", "mjpeg", "-framerate", rate, "-i", "-"]
      : ["-f", "image2", "-framerate", rate, "-start_number", "1", "-i", order.source.pattern];
  const scale = [
    `scale=${order.widthPx}:${order.heightPx}:flags=lanczos+accurate_rnd`,
    ...(order.source === "pipe" ? ["in_range=full", "in_color_matrix=bt601"] : []),
    ...["out_range=limited", "out_color_matrix=bt709"],
  ].join(":");
  return [
    ...["-hide_banner", "-loglevel", "error", "-nostdin", "-nostats", "-y"],
    ...["-progress", "pipe:1"],
    ...input,
    ...["-an", "-vf", `${scale},format=yuv420p,setsar=1`, "-pix_fmt", "yuv420p"],
    ...CODEC_ARGUMENTS[order.kind],
    ...["-color_range", "tv", "-colorspace", "bt709"],
    ...["-color_primaries", "bt709", "-color_trc", "bt709"],
    ...["-r", rate, "-g", String(2 * order.framesPerSecond)],
    ...Object.entries(order.tags).flatMap(([name, text]) => ["-metadata", `${name}=${text}`]),
    ...["-f", order.kind === "h264" ? "mp4" : "webm", order.outPath],
  ];
}

/** One run of the encoder; the video carries its name only when it is whole. */
export class VideoEncoder {
  readonly #process: ChildProcess;
  readonly #partPath: string;
  readonly #outPath: string;
  readonly #ended: Promise<void>;
  #complaint = "";

  /** @param onEncoded  Hears how many pictures are in the film by now; never fewer than before. */
  constructor(order: VideoOrder, onEncoded: (frameCount: number) => void) {
    this.#outPath = order.outPath;
    this.#partPath = `${order.outPath}${PART_ENDING}`;
    const usesPipe = order.source === "pipe";
    this.#process = spawn(
      order.encoderPath,
      encoderArguments({ ...order, outPath: this.#partPath }),
      // In a group of its own, so that Ctrl-C reaches it through us, in order.
      { stdio: [usesPipe ? "pipe" : "ignore", "pipe", "pipe"], detached: true },
    );
    createInterface({ input: this.#process.stdout! }).on("line", (line) => {
      const frameCount = Number(/^frame=\s*(\d+)$/.exec(line)?.[1] ?? "0");
      if (frameCount > 0) onEncoded(frameCount);
    });
    this.#process.stderr!.on("data", (text: Buffer) => {
      this.#complaint = `${this.#complaint}${text.toString()}`.slice(-2000);
    });
    this.#process.stdin?.on("error", () => {
      // The encoder has ended; `finish` and `write` tell why.
    });
    this.#ended = new Promise((resolve, reject) => {
      this.#process.on("error", (error) => {
        reject(this.#failure(error.message));
      });
      this.#process.on("close", (code) => {
        if (code === 0) resolve();
        else reject(this.#failure(this.#complaint));
      });
    });
    this.#ended.catch(() => {
      // Reported by whichever of `write` and `finish` comes next.
    });
  }

  /** Hands one JPEG over, and waits while the encoder has enough to do. */
  async write(jpeg: Uint8Array): Promise<void> {
    const input = this.#process.stdin!;
    if (input.write(jpeg)) return;
    await Promise.race([
      new Promise<void>((resolve) => input.once("drain", resolve)),
      this.#ended.then(() => {
        throw this.#failure("it ended early");
      }),
    ]);
  }

  /** @returns Bytes of the finished video. */
  async finish(): Promise<number> {
    this.#process.stdin?.end();
    try {
      await this.#ended;
    } catch (thrown) {
      await rm(this.#partPath, { force: true });
      throw thrown;
    }
    await renameDurably(this.#partPath, this.#outPath);
    return (await stat(this.#outPath)).size;
  }

  /** Ends the encoder and leaves nothing half-made. */
  async cancel(): Promise<void> {
    this.#process.kill("SIGKILL");
    await this.#ended.catch(() => undefined);
    await rm(this.#partPath, { force: true });
  }

  #failure(text: string): unknown {
    if (/no space left/i.test(text)) {
      return archiveError(Object.assign(new Error(text), { code: "ENOSPC" }), this.#outPath);
    }
    const line = text.trim().split("\n").at(-1) ?? "";
    return new NightError(
      "deliver.failed",
      `The video ${this.#outPath} could not be made: ${line === "" ? "the encoder ended" : line}`,
    );
  }
}

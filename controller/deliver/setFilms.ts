import { existsSync } from "node:fs";
import { rm, stat } from "node:fs/promises";
import { join, relative } from "node:path";
import type { DeliveredFile, DeliverOrder, VideoKind } from "../../core/api/deliverMessages.ts";
import type { ReadySet } from "./readySet.ts";
import { UNITS, type DeliveryProgress } from "./deliveryUnits.ts";
import { VIDEO_ENDING, VideoEncoder, findVideoEncoder, videoSize } from "./videoEncoder.ts";

type FilmOptions = {
  readonly order: Pick<DeliverOrder, "videos" | "videoBox" | "framesPerSecond">;
  readonly outDir: string;
  readonly progress: DeliveryProgress;
  /** True when films that lie there whole are of this delivery. */
  readonly isResumed: boolean;
  /** What each film says of itself. */
  readonly tagsOf: (label: string) => Readonly<Record<string, string>>;
};

type Film = {
  readonly kind: VideoKind;
  readonly label: string;
  readonly path: string;
  /** null: it lies there whole already. */
  encoder: VideoEncoder | null;
  encodedCount: number;
};

/** The films of one frame set, an encoder each, all fed with the same pictures. */
export class SetFilms {
  readonly #ready: ReadySet;
  readonly #options: FilmOptions;
  readonly #films: readonly Film[];

  constructor(ready: ReadySet, options: FilmOptions) {
    this.#ready = ready;
    this.#options = options;
    this.#films = options.order.videos.map((kind) => ({
      kind,
      label: `film ${kind} of ${ready.set.name}`,
      path: filmPath(options.outDir, ready, kind),
      encoder: null,
      encodedCount: 0,
    }));
  }

  /**
   * Starts the encoders, but for films that an earlier run finished.
   *
   * @param source  "pipe": pictures come through `write`; else where they lie.
   */
  start(source: "pipe" | { readonly pattern: string }): void {
    const { order, isResumed, tagsOf } = this.#options;
    const missing = this.#films.filter(({ path }) => !(isResumed && existsSync(path)));
    for (const film of this.#films) {
      if (!missing.includes(film)) this.#count(film, this.#ready.frames.length, { isGiven: true });
    }
    if (missing.length === 0) return;
    const encoderPath = findVideoEncoder();
    const size = videoSize(this.#ready.picture, order.videoBox);
    for (const film of missing) {
      const { kind, path: outPath } = film;
      film.encoder = new VideoEncoder(
        {
          ...{ encoderPath, kind, outPath, source, ...size, tags: tagsOf(film.label) },
          framesPerSecond: order.framesPerSecond,
        },
        // The last picture counts when the film carries its name.
        (encodedCount) => this.#count(film, Math.min(encodedCount, this.#ready.frames.length - 1)),
      );
    }
  }

  /** True while there is a film to be fed. */
  get isHungry(): boolean {
    return this.#films.some(({ encoder }) => encoder !== null);
  }

  async write(jpeg: Uint8Array): Promise<void> {
    await Promise.all(this.#films.map(({ encoder }) => encoder?.write(jpeg)));
  }

  async finish(): Promise<DeliveredFile[]> {
    const frameCount = this.#ready.frames.length;
    return Promise.all(
      this.#films.map(async (film): Promise<DeliveredFile> => {
        await film.encoder?.finish();
        this.#count(film, frameCount);
        const { label, path } = film;
        const { size: bytes } = await stat(path);
        const inDelivery = relative(this.#options.outDir, path);
        return { kind: "video", label, path: inDelivery, bytes, frameCount };
      }),
    );
  }

  /** Ends the encoders and leaves nothing half-made. */
  async cancel(): Promise<void> {
    await Promise.all(this.#films.map(({ encoder }) => encoder?.cancel()));
  }

  #count(film: Film, doneCount: number, { isGiven } = { isGiven: false }): void {
    const totalCount = this.#ready.frames.length;
    const fresh = doneCount - film.encodedCount;
    if (fresh <= 0) return;
    film.encodedCount = doneCount;
    const at = { stage: "video", label: film.label, doneCount, totalCount } as const;
    this.#options.progress.step(at, fresh * UNITS.video[film.kind], isGiven);
  }
}

/** Takes away what an earlier delivery made of a set. */
export async function removeFilms(
  outDir: string,
  ready: ReadySet,
  kinds: readonly VideoKind[],
): Promise<void> {
  for (const kind of kinds) await rm(filmPath(outDir, ready, kind), { force: true });
}

function filmPath(outDir: string, { slug }: ReadySet, kind: VideoKind): string {
  return join(outDir, `film-${slug}.${VIDEO_ENDING[kind]}`);
}

/** A picture is used twice: it is kept on disk, and it is metered. */
const USES = 2;

/** Pictures that have arrived, each let go of once it has been both kept and metered. */
export class PictureStock {
  readonly #pictures = new Map<number, { readonly jpeg: Uint8Array; usesLeft: number }>();

  get count(): number {
    return this.#pictures.size;
  }

  put(frameIndex: number, jpeg: Uint8Array): void {
    this.#pictures.set(frameIndex, { jpeg, usesLeft: USES });
  }

  jpegOf(frameIndex: number): Uint8Array | null {
    return this.#pictures.get(frameIndex)?.jpeg ?? null;
  }

  /** One of its uses is over. */
  letGo(frameIndex: number): void {
    const picture = this.#pictures.get(frameIndex);
    if (!picture) return;
    picture.usesLeft -= 1;
    if (picture.usesLeft === 0) this.#pictures.delete(frameIndex);
  }
}

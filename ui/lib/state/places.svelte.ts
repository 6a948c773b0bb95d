import { hashOf, isNewPlace, placeOfHash, type PagePlace } from "./pagePlace.ts";

/** Browsers take a few hundred entries a minute at most; a hand that zooms writes once it rests. */
const REST_MS = 300;

/** The place that is shown, kept in the address: Back, Forward, reload and a link all lead to it. */
export class Places {
  current = $state.raw<PagePlace>(placeOfHash(location.hash));
  /** Rises when the place came from the address rather than from the page. */
  arrivals = $state.raw(0);
  #timer: ReturnType<typeof setTimeout> | undefined;
  /** The place that the address says. */
  #written: PagePlace = this.current;

  go(change: Partial<PagePlace>): void {
    const next = { ...this.current, ...change };
    if (hashOf(next) === hashOf(this.current)) return;
    const isNew = isNewPlace(this.current, next);
    this.current = next;
    clearTimeout(this.#timer);
    if (isNew) this.#write();
    else this.#timer = setTimeout(() => this.#write(), REST_MS);
  }

  /** The address has changed: by Back, by Forward or by a link. */
  arrive(): void {
    clearTimeout(this.#timer);
    this.current = this.#written = placeOfHash(location.hash);
    this.arrivals += 1;
  }

  #write(): void {
    const address = hashOf(this.current);
    if (address === hashOf(this.#written)) return;
    if (isNewPlace(this.#written, this.current)) history.pushState(null, "", address);
    else history.replaceState(null, "", address);
    this.#written = this.current;
  }
}

import { store, stored } from "./stored.ts";

const TICKS_KEY = "nattvakt.ticks";

type Ticks = { readonly date: string; readonly ids: readonly string[] };

/** What was ticked by hand, of one evening; another evening begins without. */
export class ChecklistTicks {
  #ticks = $state.raw<Ticks>(stored<Ticks>(TICKS_KEY, { date: "", ids: [] }));

  of(date: string): readonly string[] {
    return this.#ticks.date === date ? this.#ticks.ids : [];
  }

  tick(date: string, id: string, isTicked: boolean): void {
    const others = this.of(date).filter((one) => one !== id);
    this.#ticks = { date, ids: isTicked ? [...others, id] : others };
    store(TICKS_KEY, this.#ticks);
  }
}

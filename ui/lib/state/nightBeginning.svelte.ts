import type { BeginOrder, CameraOffer, FoundCameras } from "../../../core/api/beginMessages.ts";
import { beginWords } from "../../../core/words/beginWords.ts";
import * as api from "../api/beginClient.ts";
import { sentenceOf } from "../api/sentence.ts";

const NETWORK = "ip:";

/** The camera that a night is begun with: found on USB or typed, tried, chosen. */
export class NightBeginning {
  found = $state.raw<FoundCameras | null>(null);
  /** As it is typed, without the word in front. */
  networkAddress = $state("");
  /** As `--camera` takes it; null: none yet. */
  chosen = $state<string | null>(null);
  /** The hand has chosen it since the page was opened; else it is the one of last time, or the only one. */
  isChosenByHand = $state(false);
  isLooking = $state(false);
  isTrying = $state(false);
  isBeginning = $state(false);
  /** What came of the last try. */
  answer = $state<string | null>(null);
  refusal = $state<string | null>(null);
  /** Why the watch did not begin; stands beside the buttons that asked for it. */
  beginRefusal = $state<string | null>(null);

  /** What was chosen last, and what is on USB now. */
  async recall(): Promise<void> {
    await this.#try(async () => {
      const { last, refusal } = await api.fetchBegin();
      this.refusal = refusal;
      if (last?.camera.startsWith(NETWORK)) {
        this.networkAddress = last.camera.slice(NETWORK.length);
        this.chosen = last.camera;
      }
      await this.#look();
      const offers = this.found?.cameras ?? [];
      const usable = offers.filter(({ whyNot }) => whyNot === null);
      const isThereAgain = usable.some(({ address }) => address === last?.camera);
      if (isThereAgain) this.chosen = last!.camera;
      else if (usable.length === 1) this.chosen ??= usable[0]!.address;
    });
  }

  async lookAgain(): Promise<void> {
    this.refusal = null;
    await this.#try(() => this.#look());
  }

  choose(offer: CameraOffer): void {
    this.isChosenByHand = true;
    [this.chosen, this.answer, this.refusal] = [offer.address, null, null];
  }

  type(address: string): void {
    this.isChosenByHand = true;
    this.networkAddress = address.trim();
    [this.chosen, this.answer, this.refusal] = [this.#typed, null, null];
  }

  /** Asks the camera at the typed address what it is. */
  async tryTyped(): Promise<void> {
    const address = this.#typed;
    if (address === null) return;
    [this.isTrying, this.answer, this.refusal] = [true, null, null];
    await this.#try(async () => {
      const { label } = await api.tryCamera(address);
      [this.chosen, this.answer] = [address, beginWords.answers(label)];
    });
    this.isTrying = false;
  }

  /** @returns whether the watch is on its way. */
  async begin(order: Omit<BeginOrder, "camera">): Promise<boolean> {
    const camera = this.chosen;
    if (camera === null) return false;
    [this.isBeginning, this.beginRefusal] = [true, null];
    try {
      await api.beginNight({ ...order, camera });
      return true;
    } catch (thrown) {
      this.beginRefusal = sentenceOf(thrown);
      return false;
    } finally {
      this.isBeginning = false;
    }
  }

  get #typed(): string | null {
    return this.networkAddress === "" ? null : `${NETWORK}${this.networkAddress}`;
  }

  async #look(): Promise<void> {
    this.isLooking = true;
    try {
      this.found = await api.findCameras();
    } finally {
      this.isLooking = false;
    }
  }

  async #try(work: () => Promise<void>): Promise<void> {
    try {
      await work();
    } catch (thrown) {
      this.refusal = sentenceOf(thrown);
    }
  }
}

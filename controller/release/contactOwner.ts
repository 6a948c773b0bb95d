import { asNightError, NightError } from "../../core/errors.ts";
import type { Scheduling } from "../../core/words/timingWords.ts";
import { realMs } from "../timing/clock.ts";
import { preciseWait } from "../timing/preciseWait.ts";
import type { ContactDevice } from "./contactDevice.ts";
import type { FromContact, ToContact } from "./contactMessages.ts";
import type { ReleaseTarget } from "./releaseTarget.ts";

/** How the owner of a contact is joined to the rest of the program. */
type ContactOwnerParts = {
  readonly open: (target: ReleaseTarget) => Promise<ContactDevice>;
  readonly tell: (message: FromContact) => void;
  /** What the system granted this process. */
  readonly scheduling: Scheduling;
  /** Everything is released; the process may end. */
  readonly onEnd: () => void;
};

type Press = Extract<ToContact, { kind: "press" }>;

/**
 * Owns a release contact and its deadline: the process that asked for a press may hang or vanish, the
 * contact opens at its time all the same.
 */
export class ContactOwner {
  readonly #parts: ContactOwnerParts;
  readonly #wait = preciseWait();
  #device: ContactDevice | null = null;
  #timer: NodeJS.Timeout | null = null;
  #press: (Press & { readonly isClosed: boolean }) | null = null;
  /** Movements of the contact happen one after the other. */
  #tail: Promise<void> = Promise.resolve();
  #isEnding = false;

  constructor(parts: ContactOwnerParts) {
    this.#parts = parts;
  }

  take(message: ToContact): void {
    switch (message.kind) {
      case "take":
        return this.#queue(() => this.#take(message.target));
      case "press":
        return this.#begin(message);
      case "release":
        return this.#press?.pressId === message.pressId ? this.#release(null) : undefined;
      case "end":
        return this.end();
    }
  }

  /** Opens the contact, releases the device and ends; also when nobody is there to hear of it. */
  end(): void {
    if (this.#isEnding) return;
    this.#isEnding = true;
    if (this.#timer) clearTimeout(this.#timer);
    this.#queue(async () => {
      await this.#device?.close();
      this.#device = null;
      this.#parts.onEnd();
    });
  }

  async #take(target: ReleaseTarget): Promise<void> {
    const device = await this.#parts.open(target);
    this.#device = device;
    device.onLost(() => {
      this.#device = null;
      if (this.#timer) clearTimeout(this.#timer);
      const pressId = this.#press?.pressId ?? null;
      this.#press = null;
      this.#fail(new NightError("release.gone", "The release contact was unplugged."), pressId);
    });
    this.#parts.tell({ kind: "taken", scheduling: this.#parts.scheduling });
  }

  #begin(press: Press): void {
    if (this.#device === null || this.#press !== null) {
      const why = this.#device === null ? "is not there" : "is closed already";
      const code = this.#device === null ? "release.gone" : "camera.busy";
      return this.#fail(new NightError(code, `The release contact ${why}.`), press.pressId);
    }
    this.#press = { ...press, isClosed: false };
    const { halfPressMs } = this.#device;
    const halfAtMs = press.atMs - halfPressMs;
    if (halfPressMs > 0) this.#at(halfAtMs, () => this.#half(press));
    else this.#at(press.atMs, () => this.#close(press));
  }

  #half(press: Press): void {
    this.#queue(async () => {
      if (this.#press?.pressId !== press.pressId || this.#device === null) return;
      const closeAtMs = Math.max(press.atMs, realMs() + this.#device.halfPressMs);
      await this.#device.set("half");
      this.#at(closeAtMs, () => this.#close(press));
    });
  }

  #close(press: Press): void {
    this.#queue(async () => {
      if (this.#press?.pressId !== press.pressId || this.#device === null) return;
      this.#press = { ...press, isClosed: true };
      await this.#device.set("closed");
      const atMs = realMs();
      const dueMs = atMs + press.holdMs;
      this.#at(dueMs, () => this.#release(realMs() - dueMs));
      this.#parts.tell({ kind: "pressed", pressId: press.pressId, atMs });
    });
  }

  #release(lateMs: number | null): void {
    if (this.#timer) clearTimeout(this.#timer);
    this.#queue(async () => {
      const press = this.#press;
      if (press === null || this.#device === null) return;
      await this.#device.set("open");
      this.#press = null;
      this.#parts.tell({ kind: "released", pressId: press.pressId, atMs: realMs(), lateMs });
    });
  }

  /** A coarse timer until shortly before, then a precise wait: this process has nothing else to do. */
  #at(atMs: number, act: () => void): void {
    if (this.#timer) clearTimeout(this.#timer);
    const look = (): void => {
      const leftMs = atMs - realMs() - this.#wait.handOverMs;
      if (leftMs > 0) {
        this.#timer = setTimeout(look, Math.min(leftMs, 2 ** 30));
        return;
      }
      this.#timer = null;
      this.#wait.blockUntil(atMs);
      act();
    };
    look();
  }

  #queue(move: () => Promise<void>): void {
    this.#tail = this.#tail.then(move).catch((thrown: unknown) => {
      const pressId = this.#press?.pressId ?? null;
      this.#press = null;
      this.#fail(asNightError(thrown, "release.gone"), pressId);
      if (this.#isEnding) this.#parts.onEnd();
    });
  }

  #fail(error: NightError, pressId: number | null): void {
    const { code, message: sentence } = error;
    const gone = code !== "camera.busy";
    this.#parts.tell({ kind: "failed", code, sentence, gone, pressId });
  }
}

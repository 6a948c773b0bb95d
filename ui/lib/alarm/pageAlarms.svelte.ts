import { NO_ALARMS } from "../../../core/api/alarms.ts";
import type { DaemonView } from "../../../core/api/messages.ts";
import { clockHour } from "../format/time.ts";
import { typedNumber } from "../plan/typedNumber.ts";
import type { LinkState } from "../state/daemon.svelte.ts";
import { store, stored } from "../state/stored.ts";
import { isQuiet, ringOfSilence, ringOfView, type QuietHours, type Ring } from "./rings.ts";
import { play, VIBRATIONS, type SoundName } from "./sounds.ts";

const STORE_KEY = "nattvakt.alarms";

/** This browser's own alarms: it rings while it is open, whatever the person's command or webhook does. */
export class PageAlarms {
  isOn = $state(false);
  hasNotices = $state(false);
  quietFrom = $state("");
  quietTo = $state("");
  /** The browser makes no sound before somebody has touched the page. */
  wantsTouch = $state(false);

  readonly quiet = $derived(quietHoursOf(this.quietFrom, this.quietTo));

  #memory = NO_ALARMS;
  #hasRungForSilence = false;
  #context: AudioContext | null = null;

  constructor() {
    const { isOn, hasNotices, quietFrom, quietTo } = stored(STORE_KEY, {
      ...{ isOn: false, hasNotices: false },
      ...{ quietFrom: "", quietTo: "" },
    });
    [this.isOn, this.hasNotices] = [isOn, hasNotices];
    [this.quietFrom, this.quietTo] = [quietFrom, quietTo];
    this.wantsTouch = isOn;
  }

  /** The daemon has reported how the night stands. */
  see(view: DaemonView): void {
    const { ring, memory } = ringOfView(view, this.#memory);
    this.#memory = memory;
    if (ring !== null) this.#ring(ring);
  }

  /** Once a second: whether anybody still answers. */
  listen(heard: { readonly link: LinkState; readonly ageMs: number }): void {
    const { ring, hasRung } = ringOfSilence(heard, this.#hasRungForSilence);
    this.#hasRungForSilence = hasRung;
    if (ring !== null) this.#ring(ring);
  }

  switchOn(isOn: boolean): void {
    this.isOn = isOn;
    if (isOn) this.touch();
    this.#save();
  }

  /** System notices want leave of the person, which the browser asks for. */
  async switchNotices(isOn: boolean): Promise<void> {
    const isAllowed =
      isOn && "Notification" in window && (await Notification.requestPermission()) === "granted";
    this.hasNotices = isAllowed;
    this.#save();
  }

  setQuiet(from: string, to: string): void {
    [this.quietFrom, this.quietTo] = [from.trim(), to.trim()];
    this.#save();
  }

  /** Somebody touched the page: from now on it may make sounds. */
  touch(): void {
    if (!this.isOn) return;
    this.#context ??= new AudioContext();
    void this.#context.resume();
    this.wantsTouch = false;
  }

  /** Makes a sound for somebody who wants to know it; quiet hours do not hold it. */
  tryOut(sound: SoundName): void {
    this.#context ??= new AudioContext();
    void this.#context.resume();
    play(this.#context, sound);
    navigator.vibrate?.([...VIBRATIONS[sound]]);
  }

  close(): void {
    void this.#context?.close();
    this.#context = null;
  }

  #ring({ sound, sentence }: Ring): void {
    if (!this.isOn || isQuiet(clockHour(Date.now()), this.quiet)) return;
    // Before somebody has touched the page the browser blocks both, and complains.
    if (this.#context !== null) {
      play(this.#context, sound);
      navigator.vibrate?.([...VIBRATIONS[sound]]);
    }
    if (this.hasNotices) this.#notify(sentence);
  }

  #notify(sentence: string): void {
    try {
      new Notification(sentence);
    } catch {
      // A phone's browser allows notices only to installed pages; sound and vibration are there all the same.
    }
  }

  #save(): void {
    const { isOn, hasNotices, quietFrom, quietTo } = this;
    store(STORE_KEY, { isOn, hasNotices, quietFrom, quietTo });
  }
}

/** Both hours, each of a clock; else there are none. */
function quietHoursOf(from: string, to: string): QuietHours | null {
  const [fromHour, toHour] = [typedNumber(from), typedNumber(to)];
  const isHour = (hour: number | null): hour is number => hour !== null && hour >= 0 && hour <= 24;
  return isHour(fromHour) && isHour(toHour) ? { fromHour, toHour } : null;
}

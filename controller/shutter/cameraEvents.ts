import { NightError, type ErrorCode } from "../../core/errors.ts";
import { EVENTS } from "../../core/ptp/events.ts";
import { NO_TRANSACTION } from "../../core/ptp/ids.ts";
import type { TransportEvent } from "../cameras/transport.ts";
import type { RealTime } from "../timing/clock.ts";
import type { CameraTaskQueue } from "./cameraTaskQueue.ts";
import { pollTask } from "./cameraTasks.ts";
import { RANK, type FrameFileMatcher } from "./frameFileMatcher.ts";
import type { LinkWatch } from "./linkWatch.ts";

type CameraEventsOptions = {
  readonly link: LinkWatch;
  readonly matcher: FrameFileMatcher;
  readonly tasks: CameraTaskQueue;
  readonly time: RealTime;
  /** The frame that the shutter is open for, or about to be. */
  readonly exposingIndex: () => number | null;
  /** The camera said that it is done with a frame. */
  readonly onReadOut: () => void;
  /** The card cannot take the frame; null: nobody knows whose. */
  readonly onCardFailed: (error: NightError, frameIndex: number | null) => void;
  /** Something was said that the loop may want to act on. */
  readonly onHeard: () => void;
};

/** Hears what the camera says, sent or asked for, and passes it to whom it concerns. */
export class CameraEvents {
  readonly #options: CameraEventsOptions;
  #pollAtMs = Infinity;

  constructor(options: CameraEventsOptions) {
    this.#options = options;
  }

  /** When the camera is next asked for its events, real time; Infinity: it sends them. */
  get pollAtMs(): number {
    return this.#pollAtMs;
  }

  /** A camera was connected: one that does not send its events is asked from now on. */
  begin(): void {
    const { link, time } = this.#options;
    this.#pollAtMs = link.controls.eventPoll === null ? Infinity : time.nowMs();
  }

  /** Asks for events where the camera does not send them. */
  poll(): void {
    const { link, tasks, time } = this.#options;
    const { eventPoll } = link.controls;
    this.#pollAtMs = eventPoll === null ? Infinity : time.nowMs() + eventPoll.everyMs;
    if (eventPoll === null || link.connected === null || tasks.has(RANK.events)) return;
    const task = pollTask(link.connected.link, eventPoll, ({ eventCode, parameter }) =>
      this.hear({
        eventCode,
        transactionId: NO_TRANSACTION,
        parameters: parameter === null ? [] : [parameter],
        atMs: time.nowMs(),
      }),
    );
    tasks.add({ rank: RANK.events, task, drop: () => undefined });
  }

  hear(event: TransportEvent): void {
    const { matcher, link: watch, onReadOut, onHeard } = this.#options;
    const [parameter] = event.parameters;
    const link = watch.connected?.link;
    switch (this.#meaningOf(event.eventCode)) {
      case EVENTS.ObjectAdded:
      case EVENTS.RequestObjectTransfer:
        if (parameter && watch.controls.quirks.includes("reusedHandle")) {
          matcher.forgetFile(parameter);
        }
        if (parameter && link && matcher.name(link, parameter, event.transactionId)) onReadOut();
        break;
      case EVENTS.ObjectRemoved:
        if (parameter) matcher.forgetFile(parameter);
        break;
      case EVENTS.CaptureComplete:
        onReadOut();
        break;
      case EVENTS.DevicePropChanged:
        if (parameter) link?.properties.noteChange(parameter);
        // With the dial elsewhere the camera may do what it refused.
        if (parameter && parameter === link?.controls.program?.propertyCode) {
          this.#options.link.connected?.mover.reconsider();
        }
        break;
      case EVENTS.StoreFull:
      case EVENTS.StoreRemoved:
        this.#failCard(event);
        break;
      case EVENTS.UnreportedStatus:
        if (link) matcher.compare(link);
        break;
      case EVENTS.DeviceReset:
        watch.noteLoss(new NightError("camera.gone", "The camera started again."));
        break;
    }
    onHeard();
  }

  /** A maker's own event by the standard's code of what it means. */
  #meaningOf(eventCode: number): number {
    const { objectAddedEvents, captureDoneEvents } = this.#options.link.controls;
    if (objectAddedEvents.includes(eventCode)) return EVENTS.ObjectAdded;
    return captureDoneEvents.includes(eventCode) ? EVENTS.CaptureComplete : eventCode;
  }

  /** A full card ends the capture that found it full; its frame has no file to wait for. */
  #failCard(event: TransportEvent): void {
    const { matcher, exposingIndex, onCardFailed, onReadOut } = this.#options;
    const [code, sentence]: [ErrorCode, string] =
      event.eventCode === EVENTS.StoreFull
        ? ["camera.card_full", "The camera's card is full; change it or make room."]
        : ["camera.refused", "The camera's card was taken out."];
    const frameIndex = matcher.frameOf(event.transactionId);
    if (frameIndex !== null && frameIndex !== exposingIndex()) matcher.giveUp(frameIndex);
    onCardFailed(new NightError(code, sentence), frameIndex);
    onReadOut();
  }
}

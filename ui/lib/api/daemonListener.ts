import type { ServerMessage } from "../../../core/api/messages.ts";

/** The daemon sends at least every two seconds; silence beyond this is a lost link. */
const SILENCE_MS = 6_000;

const RETRY_MS = [500, 1_000, 2_000, 3_000] as const;

type LiveSocketCallbacks = {
  readonly onmessage: (message: ServerMessage) => void;
  readonly onopen: () => void;
  readonly onlost: () => void;
};

/** Listens to the daemon and connects again by itself, for as long as the page is open. */
export function listenToDaemon(url: string, callbacks: LiveSocketCallbacks): () => void {
  let socket: WebSocket | null = null;
  let attemptCount = 0;
  let isEnded = false;
  let retryTimer: ReturnType<typeof setTimeout> | undefined;
  let silenceTimer: ReturnType<typeof setTimeout> | undefined;

  const listenForSilence = (): void => {
    clearTimeout(silenceTimer);
    silenceTimer = setTimeout(() => lose(), SILENCE_MS);
  };
  const lose = (): void => {
    clearTimeout(silenceTimer);
    const lost = socket;
    socket = null;
    if (lost === null || isEnded) return;
    lost.close();
    callbacks.onlost();
    const waitMs = RETRY_MS[Math.min(attemptCount, RETRY_MS.length - 1)] ?? 3_000;
    attemptCount += 1;
    retryTimer = setTimeout(open, waitMs);
  };
  const open = (): void => {
    if (isEnded) return;
    const opening = new WebSocket(url);
    socket = opening;
    listenForSilence();
    opening.onmessage = ({ data }: MessageEvent<string>) => {
      if (socket !== opening) return;
      if (attemptCount !== 0) attemptCount = 0;
      listenForSilence();
      callbacks.onmessage(JSON.parse(data) as ServerMessage);
    };
    opening.onopen = () => socket === opening && callbacks.onopen();
    opening.onclose = () => socket === opening && lose();
  };
  // A laptop that wakes up, or a network that comes back, is worth an attempt at once.
  const hurry = (): void => {
    if (socket !== null) return;
    clearTimeout(retryTimer);
    open();
  };
  window.addEventListener("online", hurry);
  open();

  return () => {
    isEnded = true;
    window.removeEventListener("online", hurry);
    clearTimeout(retryTimer);
    clearTimeout(silenceTimer);
    socket?.close();
  };
}

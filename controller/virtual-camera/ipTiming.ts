/** How long the camera waits for what a host owes it, real milliseconds. */
export type IpTiming = {
  /** For a new connection to say what it is. */
  readonly firstPacketMs: number;
  /** For the event connection after the command connection. */
  readonly eventConnectionMs: number;
  /** For a data phase from the host to be over. */
  readonly dataInMs: number;
  /** Silence on the event connection before a sign of life is asked for; null: never asked. */
  readonly probeMs: number | null;
};

/** Source: advice after the section titles of CIPA DC-X005, chapters 2.2 and 2.5; judgement. */
export const DEFAULT_IP_TIMING: IpTiming = {
  firstPacketMs: 5000,
  eventConnectionMs: 5000,
  dataInMs: 10_000,
  probeMs: 10_000,
};

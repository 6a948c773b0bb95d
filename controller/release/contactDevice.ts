/** Where the release contact stands. */
export type ContactState = "open" | "half" | "closed";

/** A release contact in the hands of the process that owns it. It is open when it is handed over. */
export type ContactDevice = {
  /** Brings the contact into this state. @throws NightError `release.gone`. */
  set(state: ContactState): Promise<void>;
  /** The half-press comes so long before the release, milliseconds; 0: there is none. */
  readonly halfPressMs: number;
  /** Called once when the device vanishes. */
  onLost(listener: () => void): void;
  /** Opens the contact and releases the device. */
  close(): Promise<void>;
};

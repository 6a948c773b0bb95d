/** How a process stands to the terminal that it was started from. */
type Manner = {
  readonly platform?: NodeJS.Platform;
  /** A closed terminal does not end it, where the system lets it live on. */
  readonly outlivesTerminal?: boolean;
};

/**
 * The signals that ask this program to end in order: a key, a service manager, a terminal that is
 * closed. Windows has no way to ask for it but its two keys and the closing of the window, after
 * which it leaves a program about ten seconds (source: Node's documentation of signal events).
 */
export function endingSignals({
  platform = process.platform,
  outlivesTerminal = false,
}: Manner = {}): readonly NodeJS.Signals[] {
  if (platform === "win32") return ["SIGINT", "SIGBREAK", "SIGHUP"];
  return outlivesTerminal ? ["SIGINT", "SIGTERM"] : ["SIGINT", "SIGTERM", "SIGHUP"];
}

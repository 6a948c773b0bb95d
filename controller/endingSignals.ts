/**
 * The signals that ask this program to end in order: a key, a service manager, a terminal that is
 * closed. Windows has no way to ask for it but its two keys and the closing of the window, after
 * which it leaves a program about ten seconds (source: Node's documentation of signal events).
 */
export function endingSignals(
  platform: NodeJS.Platform = process.platform,
): readonly NodeJS.Signals[] {
  return platform === "win32" ? ["SIGINT", "SIGBREAK", "SIGHUP"] : ["SIGINT", "SIGTERM", "SIGHUP"];
}

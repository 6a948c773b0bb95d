/** Fetches something when it is first wanted and keeps it; what failed is tried again the next time. */
export function fetchedOnce<T>(fetchIt: () => Promise<T>): () => Promise<T> {
  let fetched: Promise<T> | null = null;
  return () => {
    fetched ??= fetchIt().catch((thrown: unknown) => {
      fetched = null;
      throw thrown;
    });
    return fetched;
  };
}

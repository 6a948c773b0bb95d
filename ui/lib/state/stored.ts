/** What this browser remembers under a name, or else what is given. */
export function stored<T>(key: string, otherwise: T): T {
  try {
    const text = window.localStorage.getItem(key);
    return text === null ? otherwise : { ...otherwise, ...(JSON.parse(text) as T) };
  } catch {
    return otherwise;
  }
}

/** Remembers a plain object; a browser that may not remember goes on without. */
export function store(key: string, value: object): void {
  try {
    window.localStorage.setItem(key, JSON.stringify(value));
  } catch {
    // Private windows refuse; the fields then begin afresh next time.
  }
}

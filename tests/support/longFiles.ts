/**
 * Files that take long on an idle machine, with their seconds, by which `npm test` orders them: about
 * right is enough, since no result depends on it. `npm run test:slow` does not exist; vitest prints them.
 */
export const LONG_FILES: Readonly<Record<string, number>> = {
  "tests/faults/badInput.test.ts": 40,
};

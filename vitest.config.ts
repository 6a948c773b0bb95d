import { availableParallelism } from "node:os";
import { svelte } from "@sveltejs/vite-plugin-svelte";
import { defineConfig } from "vitest/config";
import { LongFilesFirst } from "./tests/support/suiteOrder.ts";

/**
 * For a machine that others keep busy: with a load of 20 on two processors, browsers and whole nights
 * took more than a minute, and a step that is otherwise over at once more than a second.
 */
const PATIENCE = {
  testTimeout: 180_000,
  hookTimeout: 180_000,
  expect: { poll: { timeout: 30_000 } },
} as const;

/** What calls pure functions alone, and so may share a process: starting one takes as long as such a file. */
const PURE = [
  "tests/architecture/**/*.test.ts",
  "tests/core/**/*.test.ts",
  "tests/profiles/**/*.test.ts",
  "tests/skies/**/*.test.ts",
];

// Three projects: the Svelte plugin's `browser` resolve condition would give node tests the
// browser build of `ws`.
export default defineConfig({
  test: {
    // More than half of the suite's seconds are exposures, pauses and pages that are waited for.
    maxWorkers: availableParallelism() + 2,
    // Tests that are marked concurrent only wait: for a body's exposures, or a program's end.
    maxConcurrency: 20,
    sequence: { sequencer: LongFilesFirst },
    projects: [
      {
        test: {
          name: "pure",
          include: PURE,
          isolate: false,
          setupFiles: ["tests/support/repeatOnFailure.ts"],
          ...PATIENCE,
        },
      },
      {
        test: {
          name: "node",
          include: ["tests/**/*.test.ts"],
          exclude: ["tests/ui/**", ...PURE],
          setupFiles: ["tests/support/repeatOnFailure.ts"],
          ...PATIENCE,
        },
      },
      {
        plugins: [svelte()],
        resolve: { conditions: ["browser"] },
        test: {
          name: "ui",
          environment: "jsdom",
          // Making the page's environment takes longer than the tests in it.
          isolate: false,
          include: ["tests/ui/**/*.test.ts"],
          setupFiles: ["tests/support/repeatOnFailure.ts", "tests/support/pageStorage.ts"],
          ...PATIENCE,
        },
      },
    ],
  },
});

import { availableParallelism } from "node:os";
import { svelte } from "@sveltejs/vite-plugin-svelte";
import { defineConfig } from "vitest/config";

/**
 * For a machine that others keep busy: with a load of 20 on two processors, browsers and whole nights
 * took more than a minute, and a step that is otherwise over at once more than a second.
 */
const PATIENCE = {
  testTimeout: 180_000,
  hookTimeout: 180_000,
  expect: { poll: { timeout: 30_000 } },
} as const;

// Two projects: the Svelte plugin's `browser` resolve condition would give node tests the
// browser build of `ws`.
export default defineConfig({
  test: {
    // Left to itself vitest keeps one core free; on two that doubles the time of the whole.
    maxWorkers: Math.max(2, availableParallelism() - 1),
    projects: [
      {
        test: {
          name: "node",
          include: ["tests/**/*.test.ts"],
          exclude: ["tests/ui/**"],
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
          include: ["tests/ui/**/*.test.ts"],
          setupFiles: ["tests/support/repeatOnFailure.ts", "tests/support/pageStorage.ts"],
          ...PATIENCE,
        },
      },
    ],
  },
});

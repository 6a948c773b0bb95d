import { availableParallelism } from "node:os";
import { svelte } from "@sveltejs/vite-plugin-svelte";
import { defineConfig } from "vitest/config";

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
          testTimeout: 60_000,
          hookTimeout: 60_000,
        },
      },
      {
        plugins: [svelte()],
        resolve: { conditions: ["browser"] },
        test: {
          name: "ui",
          environment: "jsdom",
          include: ["tests/ui/**/*.test.ts"],
          setupFiles: ["tests/support/repeatOnFailure.ts"],
        },
      },
    ],
  },
});

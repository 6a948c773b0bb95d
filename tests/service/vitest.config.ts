import { defineConfig } from "vitest/config";

// Against a real user manager: minutes of waiting for it, which would hold up the other tests.
export default defineConfig({
  test: {
    include: ["tests/service/*.manager.ts"],
    fileParallelism: false,
    testTimeout: 180_000,
    hookTimeout: 180_000,
    expect: { poll: { timeout: 30_000 } },
  },
});

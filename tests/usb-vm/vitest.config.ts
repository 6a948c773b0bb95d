import { defineConfig } from "vitest/config";

// Runs inside the small machine, where everything takes its time.
export default defineConfig({
  cacheDir: "/tmp/vite",
  test: {
    include: ["tests/usb-vm/*.vm.ts"],
    fileParallelism: false,
    pool: "threads",
    testTimeout: 300_000,
    hookTimeout: 300_000,
  },
});

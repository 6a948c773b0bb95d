import { fileURLToPath } from "node:url";

import { svelte } from "@sveltejs/vite-plugin-svelte";
import { defineConfig } from "vite";

const root = fileURLToPath(new URL(".", import.meta.url));

export default defineConfig({
  root,
  plugins: [svelte({ configFile: false })],
  build: {
    outDir: `${root}dist`,
    emptyOutDir: true,
    target: "es2022",
    // The content policy allows neither inline scripts nor data addresses.
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    reportCompressedSize: false,
  },
});

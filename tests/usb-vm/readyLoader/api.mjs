import { register as registerHooks } from "node:module";

/** Loads TypeScript in this thread from what the host has made of it. */
export function register() {
  registerHooks("./hooks.mjs", import.meta.url);
}

// Node has a `localStorage` of its own from 25 on, with nowhere to keep it: the page's takes its place.
declare const jsdom: { readonly window: { readonly localStorage: Storage } };

Object.defineProperty(globalThis, "localStorage", {
  configurable: true,
  value: jsdom.window.localStorage,
});

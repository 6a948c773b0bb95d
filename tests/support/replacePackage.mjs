// Puts a module of a test's own in the place of a package, in the process that imports this.
import * as nodeModule from "node:module";

/** @param url  Of the module that is loaded instead. */
export function replacePackage(name, url) {
  if ("registerHooks" in nodeModule) {
    nodeModule.registerHooks({
      resolve: (specifier, context, next) =>
        specifier === name ? { shortCircuit: true, url } : next(specifier, context),
    });
    return;
  }
  // Node 20 knows only this, of which Node 26 says that it will go.
  const hooks = `export async function resolve(specifier, context, next) {
    if (specifier !== ${JSON.stringify(name)}) return next(specifier, context);
    return { shortCircuit: true, url: ${JSON.stringify(url)} };
  }`;
  nodeModule.register(`data:text/javascript,${encodeURIComponent(hooks)}`);
}

// Makes one package fail as it does where it has no binary: `node --import` this file, with the
// package's name in WITHOUT_PACKAGE and its loader's words in WITHOUT_WORDS.
import * as nodeModule from "node:module";

const { WITHOUT_PACKAGE: name, WITHOUT_WORDS: words } = process.env;
const broken = `export default 0; export const DatabaseSync = 0, backup = 0, getDeviceList = 0;
export const SerialPort = 0, devicesAsync = 0, HIDAsync = 0;
throw new Error(${JSON.stringify(words)});`;
const url = `data:text/javascript,${encodeURIComponent(broken)}`;

if ("registerHooks" in nodeModule) {
  nodeModule.registerHooks({
    resolve: (specifier, context, next) =>
      specifier === name ? { shortCircuit: true, url } : next(specifier, context),
  });
} else {
  // Node 20 knows only this, of which Node 26 says that it will go.
  const hooks = `export async function resolve(specifier, context, next) {
    if (specifier !== ${JSON.stringify(name)}) return next(specifier, context);
    return { shortCircuit: true, url: ${JSON.stringify(url)} };
  }`;
  nodeModule.register(`data:text/javascript,${encodeURIComponent(hooks)}`);
}

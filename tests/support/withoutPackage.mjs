// Makes one package fail as it does where it has no binary: `node --import` this file, with the
// package's name in WITHOUT_PACKAGE and its loader's words in WITHOUT_WORDS.
import { register } from "node:module";

const { WITHOUT_PACKAGE: name, WITHOUT_WORDS: words } = process.env;
const broken = `export default 0; export const DatabaseSync = 0, backup = 0, getDeviceList = 0;
export const SerialPort = 0, devicesAsync = 0, HIDAsync = 0;
throw new Error(${JSON.stringify(words)});`;
const hooks = `export async function resolve(specifier, context, next) {
  if (specifier !== ${JSON.stringify(name)}) return next(specifier, context);
  const url = "data:text/javascript," + encodeURIComponent(${JSON.stringify(broken)});
  return { shortCircuit: true, url };
}`;
register(`data:text/javascript,${encodeURIComponent(hooks)}`);

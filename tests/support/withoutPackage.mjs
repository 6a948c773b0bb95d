// Makes one package fail as it does where it has no binary: `node --import` this file, with the
// package's name in WITHOUT_PACKAGE and its loader's words in WITHOUT_WORDS.
import { replacePackage } from "./replacePackage.mjs";

const { WITHOUT_PACKAGE: name, WITHOUT_WORDS: words } = process.env;
const broken = `export default 0; export const DatabaseSync = 0, backup = 0, getDeviceList = 0;
export const SerialPort = 0, devicesAsync = 0, HIDAsync = 0;
throw new Error(${JSON.stringify(words)});`;

replacePackage(name, `data:text/javascript,${encodeURIComponent(broken)}`);

// Plugs a made-up relay into every process of the program: `node --import` this file.
import { replacePackage } from "./replacePackage.mjs";

replacePackage("node-hid", new URL("./relayOnFile.mjs", import.meta.url).href);

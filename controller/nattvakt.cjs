#!/usr/bin/env node
// The installed command. A Node that is too old must understand this file itself (see requireNode.cjs),
// so what only newer ones understand lies in a file behind it.
"use strict";

var complaint = require("./requireNode.cjs")(process.versions.node);

if (complaint === null) {
  require("./importCommand.cjs");
} else {
  process.stderr.write("error: " + complaint + "\n");
  process.exitCode = 2;
}

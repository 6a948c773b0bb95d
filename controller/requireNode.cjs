// Whether this Node is new enough. A Node that is too old must understand this file itself, so it is
// written in the JavaScript of 2009, and npm runs it before each command (`prestart` and the like).
"use strict";

/** One sentence for a Node that is too old; null for one that will do. */
function complaintAbout(version) {
  var needed = /(\d+)\.(\d+)/.exec(require("../package.json").engines.node);
  var found = /^(\d+)\.(\d+)/.exec(version);
  var major = Number(found[1]) - Number(needed[1]);
  if (major > 0 || (major === 0 && Number(found[2]) >= Number(needed[2]))) return null;
  return (
    "Nattvakt needs Node " +
    needed[0] +
    " or newer and this is Node " +
    version +
    "; install a current one from nodejs.org and start again."
  );
}

module.exports = complaintAbout;

if (require.main === module) {
  var complaint = complaintAbout(process.versions.node);
  if (complaint !== null) {
    process.stderr.write("error: " + complaint + "\n");
    process.exitCode = 2;
  }
}

// The step from the file that any Node understands to the program itself.
"use strict";

import("../dist/controller/nattvakt.js");

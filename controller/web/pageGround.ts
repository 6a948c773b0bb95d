import { createHash } from "node:crypto";

/**
 * The only style inside the page itself: black from the first moment, on a slow link, too, where a
 * browser shows its own white until the style sheets are here. `ui/index.html` has the same text.
 */
const PAGE_GROUND = "html{background:#000}";

/** What the content policy allows it by. */
export const PAGE_GROUND_HASH = `'sha256-${createHash("sha256").update(PAGE_GROUND).digest("base64")}'`;

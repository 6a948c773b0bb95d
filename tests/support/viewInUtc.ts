import { terminalClockText } from "../../controller/night/clockText.ts";

/** A reader of a watch's state who looks at UTC and has no disk to fill. */
export const IN_UTC = { freeDiskBytes: null, clockText: terminalClockText };

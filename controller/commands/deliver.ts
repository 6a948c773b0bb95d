/** `npm run deliver -- NIGHT`: a night's frame sets as sequence, video, keogram and more. */
import "../plainFailure.ts";
import { constants, setPriority } from "node:os";
import { join } from "node:path";
import { NightError } from "../../core/errors.ts";
import type { WorkProgress } from "../../core/api/workProgress.ts";
import { Catalogue } from "../archive/catalogue.ts";
import { findNight } from "../archive/findNight.ts";
import { nightInfoOf } from "../archive/nightFolder.ts";
import { runCommand, type CommandDeclaration, type OptionValues } from "../commandLine.ts";
import { DEFAULT_DATA } from "../dataFolder.ts";
import { endingSignals } from "../endingSignals.ts";
import { deliverNight } from "../deliver/deliverNight.ts";
import type { DeliverLine } from "../deliver/deliverProcess.ts";
import { runUpkeep } from "../deliver/upkeep.ts";
import { orderOf } from "../deliver/orderFromOptions.ts";
import { callOf } from "../ownFiles.ts";

const OPTIONS = {
  data: { type: "text", value: "DIR", help: "the data folder", default: DEFAULT_DATA },
  out: { type: "text", value: "DIR", help: "where it goes; left out: the night's own deliver/" },
  set: { type: "text", value: "ID,…", help: "only these frame sets; --list shows them" },
  from: { type: "text", value: "TIME", help: "only frames from then on: 22:30 (UT) or ISO 8601" },
  to: { type: "text", value: "TIME", help: "only frames up to then" },
  fps: {
    type: "text",
    value: "N",
    help: "frames a second",
    default: "25",
    choices: ["24", "25", "30"],
  },
  size: {
    type: "text",
    value: "SIZE",
    help: "box that the video fits into: 720, 1080, 1440, 2160 or WIDTHxHEIGHT",
    default: "2160",
  },
  sequence: {
    type: "text",
    value: "KIND",
    help: "numbered full-size frames",
    default: "jpeg",
    choices: ["jpeg", "tiff16", "none"],
  },
  video: {
    type: "text",
    value: "KINDS",
    help: "h264, vp9, av1 with commas between, or none",
    default: "h264,vp9",
  },
  keogram: { type: "flag", help: "the keogram; naming none of these four makes all of them" },
  "star-trail": { type: "flag", help: "the brightest of every pixel over each set" },
  "contact-sheet": { type: "flag", help: "a page of small prints" },
  report: { type: "flag", help: "the report of the night, one HTML file" },
  "no-extras": { type: "flag", help: "none of these four" },
  sidecars: { type: "flag", help: "XMP files beside the JPEGs too; raw files always get one" },
  resume: { type: "flag", help: "go on where a broken-off delivery stopped" },
  list: { type: "flag", help: "list the nights, or a night's frame sets, and make nothing" },
  find: {
    type: "text",
    value: "WORDS",
    help: 'list frames: "brighter 0.01", "darker 0.001" (cd/m²), "surge"; with --from and --to',
  },
  export: { type: "text", value: "DIR", help: "copy the night, or --set, there and verify it" },
  verify: { type: "flag", help: "check every file of the night against its checksum" },
  prune: {
    type: "text",
    value: "RULE",
    help: 'delete previews by rule: "sentinel" (of sentinel pace), "unpicked" (no pick, no keeper)',
  },
  yes: { type: "flag", help: "do what --prune says; without it only says what it would do" },
  progress: {
    type: "text",
    value: "KIND",
    help: "how progress is reported",
    default: "lines",
    choices: ["lines", "json", "none"],
  },
} as const;

const COMMAND = {
  call: callOf("deliver"),
  purpose:
    "Makes of a night what the morning wants: a deflickered sequence, a film, a keogram, a star trail, a contact sheet, a report. The night's own files are left as they are.",
  options: OPTIONS,
  operands: {
    name: "NIGHT",
    help: 'a night: its folder, its date, its name, or "last"',
    countMin: 0,
    countMax: 1,
  },
} satisfies CommandDeclaration<typeof OPTIONS>;

type Options = OptionValues<typeof OPTIONS>;

async function main(options: Options, operands: readonly string[]): Promise<void> {
  // A watch that runs meanwhile comes first, always; threads and encoders inherit this.
  setPriority(constants.priority.PRIORITY_LOW);
  const isUpkeepOptions =
    options.list || options.verify || [options.find, options.export, options.prune].some(Boolean);
  const stop = new AbortController();
  const cancel = (): void => {
    stop.abort(new NightError("deliver.failed", isUpkeepOptions ? UPKEEP_STOPPED : STOPPED));
  };
  const signals = endingSignals();
  for (const signal of signals) process.once(signal, cancel);
  // Started by the page, on a system where no signal can ask for an end.
  process.once("disconnect", cancel);
  try {
    const work = { ...options, signal: stop.signal, ...voiceOf(options.progress) };
    const night = operands[0] ?? null;
    if (isUpkeepOptions) await runUpkeep({ ...work, night });
    else await deliver(work, night);
  } finally {
    for (const signal of signals) process.off(signal, cancel);
    process.off("disconnect", cancel);
  }
}

const STOPPED =
  "The delivery was stopped; the frames made so far are kept, and --resume goes on from them.";
const UPKEEP_STOPPED =
  "The work was stopped; what was done so far is whole, and the same command goes on from there.";

type Work = Options & Voice & { readonly signal: AbortSignal };

async function deliver(work: Work, night: string | null): Promise<void> {
  if (night === null) {
    throw new NightError(
      "usage.invalid",
      'NIGHT is needed: a night\'s folder, its date, its name, or "last"; --list shows them',
    );
  }
  const nightDir = findNight(work.data, night);
  const order = orderOf(
    {
      ...work,
      sets: splitList(work.set),
      starTrail: work["star-trail"],
      contactSheet: work["contact-sheet"],
      noExtras: work["no-extras"],
    },
    startOf(nightDir),
  );
  const outDir = work.out ?? join(nightDir, "deliver");
  const { onProgress, signal } = work;
  const result = await deliverNight({ nightDir, outDir, order, onProgress, signal });
  for (const remark of result.remarks) process.stderr.write(`note: ${remark}\n`);
  if (work.progress === "json") say({ kind: "result", result });
  else for (const file of result.files) work.print(`${file.label}: ${join(outDir, file.path)}`);
}

function startOf(nightDir: string): number {
  const catalogue = Catalogue.open(nightDir, { readOnly: true });
  try {
    return nightInfoOf(catalogue)?.startUtcMs ?? 0;
  } finally {
    catalogue.close();
  }
}

function splitList(text: string | null): readonly string[] {
  return text === null ? [] : text.split(",").map((word) => word.trim());
}

/** How the command speaks: lines for people, or JSON for programs. */
type Voice = {
  readonly print: (sentence: string) => void;
  readonly onProgress: (progress: WorkProgress) => void;
};

function voiceOf(kind: string): Voice {
  const print = (line: string): void => void process.stdout.write(`${line}\n`);
  switch (kind) {
    case "json":
      return {
        print: (sentence) => say({ kind: "sentence", sentence }),
        onProgress: nowAndThen((progress) => say({ kind: "progress", progress })),
      };
    case "none":
      return { print, onProgress: () => undefined };
    default:
      return { print, onProgress: nowAndThen((progress) => print(progressLine(progress))) };
  }
}

function say(line: DeliverLine): void {
  process.stdout.write(`${JSON.stringify(line)}\n`);
}

/** At most once a second; the first and the last of each part of the work always. */
function nowAndThen(tell: (progress: WorkProgress) => void): Voice["onProgress"] {
  let lastMs = -Infinity;
  return (progress) => {
    const { doneCount, totalCount } = progress;
    const isEdge = doneCount === 0 || doneCount === totalCount;
    if (!isEdge && performance.now() - lastMs < 1000) return;
    lastMs = performance.now();
    tell(progress);
  };
}

function progressLine({ label, doneCount, totalCount, share, secondsLeft }: WorkProgress) {
  const left = secondsLeft === null ? "" : `, ${clockOf(secondsLeft)} left`;
  return `${String(Math.floor(100 * share)).padStart(3)} %  ${label} ${doneCount}/${totalCount}${left}`;
}

function clockOf(seconds: number): string {
  const whole = Math.round(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

await runCommand(COMMAND, main);

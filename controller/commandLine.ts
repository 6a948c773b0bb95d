import { parseArgs } from "node:util";
import { NightError, asNightError } from "../core/errors.ts";

/** The highest port there is: TCP counts them in 16 bits. Source: RFC 9293. */
export const PORT_MAX = 65_535;

/** A switch that is either there or not. */
type FlagOption = { readonly type: "flag"; readonly help: string };

/** A number; without a default and not required it is `null` when left out. */
type NumberOption = {
  readonly type: "number";
  readonly help: string;
  /** What stands for the value in the help text: "SECONDS". */
  readonly value: string;
  readonly default?: number;
  readonly required?: true;
  readonly min?: number;
  readonly max?: number;
  /** The value must lie above this. */
  readonly above?: number;
  readonly integer?: true;
};

/** A text; without a default and not required it is `null` when left out. */
type TextOption = {
  readonly type: "text";
  readonly help: string;
  readonly value: string;
  readonly default?: string;
  readonly required?: true;
  readonly choices?: readonly string[];
};

type CommandOption = FlagOption | NumberOption | TextOption;
export type CommandOptions = Readonly<Record<string, CommandOption>>;

/** A command, declared once: parser, checks and help text all come from here. */
export type CommandDeclaration<O extends CommandOptions> = {
  /** How it is called: `npm run rehearse --`. */
  readonly call: string;
  /** One or two sentences: what it does. */
  readonly purpose: string;
  /** Keys are the option names without dashes: `"f-number"`. */
  readonly options: O;
  /** What may stand beside the options; left out: nothing. */
  readonly operands?: {
    readonly name: string;
    readonly help: string;
    readonly countMin: number;
    readonly countMax: number;
  };
  /** It goes on when nobody reads what it prints any more, and sees to that itself. */
  readonly outlivesTerminal?: boolean;
};

type OptionValue<T extends CommandOption> = T extends FlagOption
  ? boolean
  : T extends { readonly default: unknown } | { readonly required: true }
    ? BaseValue<T>
    : BaseValue<T> | null;
type BaseValue<T extends CommandOption> = T extends NumberOption ? number : string;

/** The parsed values, typed by the declaration. */
export type OptionValues<O extends CommandOptions> = {
  readonly [K in keyof O]: OptionValue<O[K]>;
};

type CommandLine<O extends CommandOptions> =
  | { readonly kind: "help"; readonly text: string }
  | {
      readonly kind: "run";
      readonly options: OptionValues<O>;
      readonly operands: readonly string[];
    };

/**
 * Parses arguments by their declaration; `--help` and `-h` win over everything.
 *
 * @throws NightError `usage.invalid` with one sentence that says what to mend.
 */
export function parseCommandLine<const O extends CommandOptions>(
  command: CommandDeclaration<O>,
  argv: readonly string[],
): CommandLine<O> {
  const beforeTerminator = argv.includes("--") ? argv.slice(0, argv.indexOf("--")) : argv;
  if (beforeTerminator.some((word) => word === "--help" || word === "-h")) {
    return { kind: "help", text: helpText(command) };
  }
  const { values, positionals } = split(command, argv);
  const options: Record<string, unknown> = {};
  for (const [name, option] of Object.entries(command.options)) {
    options[name] = valueOf(name, option, values[name]);
  }
  checkOperands(command, positionals);
  return { kind: "run", options: options as OptionValues<O>, operands: positionals };
}

function split<O extends CommandOptions>(command: CommandDeclaration<O>, argv: readonly string[]) {
  const config = Object.fromEntries(
    Object.entries(command.options).map(([name, option]) => [
      name,
      { type: option.type === "flag" ? ("boolean" as const) : ("string" as const) },
    ]),
  );
  try {
    return parseArgs({
      args: joinNegativeValues(command.options, argv),
      options: config,
      allowPositionals: true,
      strict: true,
    });
  } catch (thrown) {
    throw usage(plainSentence(command, thrown as Error), { cause: thrown });
  }
}

/** The parser takes `--target-stops -2` for two options; joined by `=` it is one. */
function joinNegativeValues(options: CommandOptions, argv: readonly string[]): string[] {
  const joined: string[] = [];
  for (let index = 0; index < argv.length; index += 1) {
    const word = argv[index]!;
    if (word === "--") return [...joined, ...argv.slice(index)];
    const next = argv[index + 1];
    const option = word.startsWith("--") ? options[word.slice(2)] : undefined;
    if (option && option.type !== "flag" && next !== undefined && /^-[\d.]/.test(next)) {
      joined.push(`${word}=${next}`);
      index += 1;
    } else {
      joined.push(word);
    }
  }
  return joined;
}

function plainSentence<O extends CommandOptions>(command: CommandDeclaration<O>, error: Error) {
  const code = (error as { code?: string }).code;
  const word = /'(-[^'\s=]*)/.exec(error.message)?.[1];
  if (code === "ERR_PARSE_ARGS_UNKNOWN_OPTION" && word !== undefined) {
    const near = nearest(word.replace(/^-+/, ""), Object.keys(command.options));
    const hint = near === null ? "see --help" : `did you mean --${near}?`;
    return `there is no option ${word}; ${hint}`;
  }
  if (word !== undefined && /does not take an argument/.test(error.message)) {
    return `${word} takes no value`;
  }
  if (word !== undefined) return `${word} needs a value after it`;
  return `${firstSentence(error.message)}; see --help`;
}

function firstSentence(message: string): string {
  return (message.split(/[.\n]/)[0] ?? message).trim();
}

/** The name that a mistyped word most likely means; null: none is near. */
export function nearest(word: string, names: readonly string[]): string | null {
  const ranked = names
    .map((name) => ({ name, distance: editDistance(word, name) }))
    .sort((a, b) => a.distance - b.distance);
  const best = ranked[0];
  return best !== undefined && best.distance <= Math.max(2, word.length / 3) ? best.name : null;
}

/** Levenshtein 1966. */
function editDistance(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, index) => index);
  for (let i = 1; i <= a.length; i += 1) {
    const next = [i];
    for (let j = 1; j <= b.length; j += 1) {
      const swap = row[j - 1]! + (a[i - 1] === b[j - 1] ? 0 : 1);
      next.push(Math.min(swap, row[j]! + 1, next[j - 1]! + 1));
    }
    row = next;
  }
  return row[b.length]!;
}

function valueOf(name: string, option: CommandOption, given: string | boolean | undefined) {
  if (option.type === "flag") return given === true;
  if (typeof given !== "string") {
    if (option.required) throw usage(`--${name} ${option.value} is needed: ${option.help}`);
    return option.default ?? null;
  }
  return option.type === "number" ? numberOf(name, option, given) : textOf(name, option, given);
}

/** A number as people write it; "0x10" and "1_000" are none. */
const DECIMAL = /^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i;

function numberOf(name: string, option: NumberOption, given: string): number {
  const value = DECIMAL.test(given.trim()) ? Number(given) : NaN;
  if (!Number.isFinite(value)) throw usage(`--${name} must be a number, not "${given}"`);
  if (option.integer && !Number.isInteger(value)) {
    throw usage(`--${name} must be a whole number, not ${given}`);
  }
  const { min = -Infinity, max = Infinity, above = -Infinity } = option;
  if (value < min || value > max || value <= above) {
    throw usage(`--${name} must be ${rangeText(option)}, not ${given}`);
  }
  return value;
}

function rangeText({ min, max, above }: NumberOption): string {
  const low = above !== undefined ? `above ${above}` : min !== undefined ? `at least ${min}` : "";
  const high = max !== undefined ? `at most ${max}` : "";
  return [low, high].filter((part) => part !== "").join(" and ");
}

function textOf(name: string, option: TextOption, given: string): string {
  if (given === "") throw usage(`--${name} must not be empty`);
  if (option.choices && !option.choices.includes(given)) {
    throw usage(`--${name} must be one of ${option.choices.join(", ")}, not "${given}"`);
  }
  return given;
}

function checkOperands<O extends CommandOptions>(
  command: CommandDeclaration<O>,
  operands: readonly string[],
): void {
  const { operands: allowed } = command;
  if (allowed === undefined) {
    if (operands.length > 0) throw usage(`"${operands[0]}" is not an option; see --help`);
    return;
  }
  if (operands.length < allowed.countMin) throw usage(`${allowed.name} is needed: ${allowed.help}`);
  if (operands.length > allowed.countMax) {
    throw usage(`"${operands[allowed.countMax]}" is one too many; see --help`);
  }
}

function usage(sentence: string, options?: ErrorOptions): NightError {
  return new NightError("usage.invalid", sentence, {}, options);
}

/** The help text of a command, wrapped for a terminal. */
export function helpText<O extends CommandOptions>(command: CommandDeclaration<O>): string {
  const { operands } = command;
  const tail = operands === undefined ? "" : ` ${operands.name}`;
  const rows: [string, string][] = Object.entries(command.options).map(([name, option]) => [
    option.type === "flag" ? `--${name}` : `--${name} ${option.value}`,
    option.help + remarks(option),
  ]);
  if (operands !== undefined) rows.unshift([operands.name, operands.help]);
  rows.push(["--help", "this text"]);
  const width = Math.max(...rows.map(([left]) => left.length)) + 2;
  const lines = rows.flatMap(([left, right]) =>
    wrap(right, 96 - width).map((part, index) =>
      `  ${(index === 0 ? left : "").padEnd(width)}${part}`.trimEnd(),
    ),
  );
  return [
    `${command.call} [options]${tail}`,
    "",
    ...wrap(command.purpose, 96),
    "",
    ...lines,
    "",
  ].join("\n");
}

function remarks(option: CommandOption): string {
  if (option.type === "flag") return "";
  if (option.required) return " (needed)";
  if (option.type === "text" && option.choices) {
    return ` (${option.choices.join(", ")}; default ${option.default ?? "none"})`;
  }
  return option.default === undefined ? "" : ` (default ${option.default})`;
}

function wrap(text: string, width: number): string[] {
  const lines: string[] = [];
  let line = "";
  for (const word of text.split(/\s+/)) {
    if (line !== "" && line.length + 1 + word.length > width) {
      lines.push(line);
      line = word;
    } else {
      line = line === "" ? word : `${line} ${word}`;
    }
  }
  return [...lines, line];
}

/** 2: called wrongly; 1: everything else. */
function exitCodeOf(error: NightError): 1 | 2 {
  return error.recovery === "usage" ? 2 : 1;
}

/** A reader that has seen enough (`| head`) closes the pipe; that is no failure. */
function endWithReader(): void {
  process.stdout.on("error", (error: NodeJS.ErrnoException) => {
    if (error.code === "EPIPE") process.exit(0);
  });
}

/**
 * Runs a command from the process's arguments: prints help, or runs `main`, or prints
 * `error: sentence` on standard error and sets the exit code. The person at the terminal never
 * sees a stack trace.
 */
export async function runCommand<const O extends CommandOptions>(
  command: CommandDeclaration<O>,
  main: (options: OptionValues<O>, operands: readonly string[]) => Promise<void> | void,
  argv: readonly string[] = process.argv.slice(2),
): Promise<void> {
  if (command.outlivesTerminal !== true) endWithReader();
  try {
    const line = parseCommandLine(command, argv);
    if (line.kind === "help") process.stdout.write(line.text);
    else await main(line.options, line.operands);
  } catch (thrown) {
    const error = asNightError(thrown);
    process.stderr.write(`error: ${error.message.replace(/\s*\n\s*/g, " ")}\n`);
    process.exitCode = exitCodeOf(error);
  }
}

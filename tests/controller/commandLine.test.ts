import { describe, expect, it } from "vitest";
import {
  helpText,
  parseCommandLine,
  type CommandDeclaration,
  type CommandOptions,
} from "../../controller/commandLine.ts";

const command = {
  call: "npm run example --",
  purpose: "Shows how a command is declared.",
  options: {
    sky: { type: "text", value: "FILE", required: true, help: "the sky's file" },
    "target-stops": { type: "number", value: "STOPS", default: -2, help: "wanted brightness" },
    "f-number": { type: "number", value: "N", default: 2.8, above: 0, help: "aperture" },
    seed: { type: "number", value: "N", default: 1, integer: true, min: 0, help: "seed" },
    "first-iso": { type: "number", value: "ISO", help: "ISO of the first frame" },
    kind: { type: "text", value: "KIND", default: "a", choices: ["a", "b"], help: "which one" },
    json: { type: "flag", help: "for machines" },
  },
} as const satisfies CommandDeclaration<CommandOptions>;

const parse = (...argv: string[]) => parseCommandLine(command, argv);

describe("a command line", () => {
  it.each(["0x10", "1_000", "0b1", "1e", "Infinity", " "])("takes %j for no number", (text) => {
    expect(() => parse("--sky", "a.csv", "--seed", text)).toThrow("must be a number");
  });

  it.each(["16", "+16", "16.", "1.6e1"])("takes %j for 16", (text) => {
    expect(parse("--sky", "a.csv", "--seed", text)).toMatchObject({ options: { seed: 16 } });
  });

  it("fills in defaults, and null for what was left out", () => {
    expect(parse("--sky", "a.csv")).toEqual({
      kind: "run",
      options: {
        sky: "a.csv",
        "target-stops": -2,
        "f-number": 2.8,
        seed: 1,
        "first-iso": null,
        kind: "a",
        json: false,
      },
      operands: [],
    });
  });

  it("takes a negative number after a space and after an equals sign", () => {
    for (const argv of [["--target-stops", "-1.5"], ["--target-stops=-1.5"]]) {
      expect(parse("--sky", "a.csv", ...argv)).toMatchObject({
        options: { "target-stops": -1.5 },
      });
    }
  });

  it.each([
    [["--sky"], "--sky needs a value after it"],
    [[], "--sky FILE is needed: the sky's file"],
    [["--sky", "a", "--skye", "3"], "there is no option --skye; did you mean --sky?"],
    [["--sky", "a", "--zzzzzz"], "there is no option --zzzzzz; see --help"],
    [["--sky", "a", "--seed", "1.5"], "--seed must be a whole number, not 1.5"],
    [["--sky", "a", "--seed", "-1"], "--seed must be at least 0, not -1"],
    [["--sky", "a", "--f-number", "0"], "--f-number must be above 0, not 0"],
    [["--sky", "a", "--f-number", "wide"], '--f-number must be a number, not "wide"'],
    [["--sky", "a", "--f-number", "NaN"], '--f-number must be a number, not "NaN"'],
    [["--sky", "a", "--f-number="], '--f-number must be a number, not ""'],
    [["--sky", "a", "--kind", "c"], '--kind must be one of a, b, not "c"'],
    [["--sky", "a", "--json=yes"], "--json takes no value"],
    [["--sky", "a", "b"], '"b" is not an option; see --help'],
  ])("answers %j with one line that says what to mend", (argv, sentence) => {
    expect(() => parse(...argv)).toThrowError(
      expect.objectContaining({ code: "usage.invalid", message: sentence }),
    );
  });

  it("asks for an operand that is needed and refuses one too many", () => {
    const operands = { name: "NIGHT", help: "folder of the night", countMin: 1, countMax: 1 };
    const withOperand = { ...command, options: {}, operands };
    expect(() => parseCommandLine(withOperand, [])).toThrow("NIGHT is needed: folder of the night");
    expect(() => parseCommandLine(withOperand, ["a", "b"])).toThrow('"b" is one too many');
    expect(parseCommandLine(withOperand, ["a"])).toMatchObject({ operands: ["a"] });
  });

  it("shows every option with its default in the help text, whatever else was said", () => {
    const help = parse("--nonsense", "--help");
    expect(help).toEqual({ kind: "help", text: helpText(command) });
    expect(helpText(command)).toContain("--target-stops STOPS  wanted brightness (default -2)");
    expect(helpText(command)).toContain("(needed)");
  });
});

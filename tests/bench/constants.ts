import { cpSync, mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { runCommand } from "../../controller/commandLine.ts";
import type { ConstantFigures } from "./constantFigures.ts";
import type { BenchRow } from "./benchRow.ts";
import { tableOf } from "./table.ts";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));

/** A number in the source, and what stands there instead. */
type Constant = {
  readonly name: string;
  readonly figures: keyof ConstantFigures;
  readonly file: string;
  /** The code that holds it, and the same with half and with double of it. */
  readonly code: string;
  readonly half: string;
  readonly double: string;
};

const SHIFT = { figures: "motion", file: "core/activity/shift.ts" } as const;
const STARS = { figures: "stars", file: "core/watch/guards.ts" } as const;
const COUNT = "total ** 2 / vectors.reduce((sum, { weight }) => sum + weight ** 2, 0)";

/** Those whose comments quote the figures of this experiment. */
const CONSTANTS: readonly Constant[] = [
  ...(
    [
      ["grid of the search", "const COARSE = 2;", "const COARSE = 1;", "const COARSE = 4;"],
      [
        "least shift that lengthens",
        "Math.max(0.1, shift",
        "Math.max(0.05, shift",
        "Math.max(0.2, shift",
      ],
      ["slack of the longer base", "longest * 1.2)", "longest * 0.6)", "longest * 2.4)"],
      ["one field alone", `${COUNT};`, `2 * (${COUNT});`, `0.5 * (${COUNT});`],
      ["doubt of one field", "? 2 * formal", "? formal", "? 4 * formal"],
      ["step that ends the refining", "< 0.02) break", "< 0.01) break", "< 0.04) break"],
      [
        "longest step along x",
        "x += Math.max(-2, Math.min(2,",
        "x += Math.max(-1, Math.min(1,",
        "x += Math.max(-4, Math.min(4,",
      ],
      [
        "longest step along y",
        "y += Math.max(-2, Math.min(2,",
        "y += Math.max(-1, Math.min(1,",
        "y += Math.max(-4, Math.min(4,",
      ],
      ["reach of the refining", "> 3 * COARSE", "> 1.5 * COARSE", "> 6 * COARSE"],
      [
        "least part of a field",
        "FIELD_CELLS_MIN / 4",
        "FIELD_CELLS_MIN / 8",
        "FIELD_CELLS_MIN / 2",
      ],
    ] as const
  ).map(([name, code, half, double]) => ({ ...SHIFT, name, code, half, double })),
  ...(
    [
      ["frames in a row", "COUNT = 6;", "COUNT = 3;", "COUNT = 12;"],
      ["fewest stars", "COUNT_MIN = 12;", "COUNT_MIN = 6;", "COUNT_MIN = 24;"],
      ["best width's way down", "SHARE = 0.2;", "SHARE = 0.1;", "SHARE = 0.4;"],
      ["best width's way up", "SHARE = 0.002;", "SHARE = 0.001;", "SHARE = 0.004;"],
      ["best count's loss", "KEPT = 0.995;", "KEPT = 0.9975;", "KEPT = 0.99;"],
    ] as const
  ).map(([name, code, half, double]) => ({ ...STARS, name, code, half, double })),
  {
    ...{ name: "change that is put in words", figures: "storm", file: "core/exposure/governor.ts" },
    ...{ code: "SECONDS = 75;", half: "SECONDS = 37.5;", double: "SECONDS = 150;" },
  },
  {
    ...{ name: "share that holds the way back", figures: "storm", file: "core/exposure/memory.ts" },
    ...{
      code: "clippedShareMax / 3 ?",
      half: "clippedShareMax / 6 ?",
      double: "clippedShareMax / 1.5 ?",
    },
  },
];

/**
 * What half and double of a constant do, beside the constant as it stands: each in a copy of the
 * sources with that one number replaced. Run by hand when one of them is chosen again.
 */
async function benchConstants(wanted: string | null): Promise<BenchRow[]> {
  const rows: BenchRow[] = [];
  const asItStands = new Map<string, Promise<Figures>>();
  for (const constant of CONSTANTS) {
    if (wanted !== null && constant.figures !== wanted) continue;
    const known = asItStands.get(constant.figures) ?? figuresOf(constant, constant.code);
    asItStands.set(constant.figures, known);
    for (const size of ["half", "double"] as const) {
      process.stderr.write(`measuring: ${constant.name}, ${size}\n`);
      const figures = await figuresOf(constant, constant[size]);
      rows.push(...rowsOf(`${constant.name}, ${size}`, figures, await known));
    }
  }
  return rows;
}

type Figures = Readonly<Record<string, number>>;

async function figuresOf({ file, code, figures }: Constant, instead: string): Promise<Figures> {
  const folder = mkdtempSync(join(tmpdir(), "nattvakt-bench-"));
  try {
    for (const part of ["core", "tests/skies", "tests/support", "tests/bench"]) {
      cpSync(join(ROOT, part), join(folder, part), { recursive: true });
    }
    for (const part of ["node_modules", "controller", "package.json"]) {
      symlinkSync(join(ROOT, part), join(folder, part));
    }
    const path = join(folder, file);
    const text = readFileSync(path, "utf8");
    if (text.split(code).length !== 2) throw new Error(`${file} does not hold once: ${code}`);
    writeFileSync(path, text.replace(code, instead));
    const copy = pathToFileURL(join(folder, "tests/bench/constantFigures.ts")).href;
    const { FIGURES } = (await import(copy)) as { FIGURES: ConstantFigures };
    return FIGURES[figures]();
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function rowsOf(name: string, figures: Figures, asItStands: Figures): BenchRow[] {
  return Object.entries(figures).map(([what, value]) => {
    const comparedValue = asItStands[what]!;
    return {
      ...{ group: "constants", name: `${name}: ${what}`, value, unit: "" },
      ...{ comparedWith: "as it stands", comparedValue, ratio: value / comparedValue },
    };
  });
}

const COMMAND = {
  call: "npx tsx tests/bench/constants.ts",
  purpose: "Says what half and double of a constant do.",
  options: { only: { type: "text", value: "FIGURES", help: "motion, stars or storm" } },
} as const;

await runCommand(COMMAND, async ({ only }) => {
  process.stdout.write(tableOf(await benchConstants(only)));
});

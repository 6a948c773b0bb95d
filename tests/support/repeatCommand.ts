import { relative } from "node:path";

/** A test as vitest names it. */
export type NamedTest = { readonly file: string; readonly name: string };

/** The one command that runs a test again, with the seed that it failed on where it draws its own. */
export function repeatCommand(
  { file, name }: NamedTest,
  failing: { readonly seed: number; readonly path: string | null } | null = null,
): string {
  const words = [
    ...(failing === null ? [] : [`SEED=${failing.seed}`]),
    ...(failing?.path ? [`SEED_PATH=${failing.path}`] : []),
    `npm run test:only -- ${relative(process.cwd(), file)}`,
    `-t ${quoted(namePattern(name))}`,
  ];
  return words.join(" ");
}

/** Vitest takes a name as a regular expression, and joins the parts of a test's name by spaces. */
function namePattern(name: string): string {
  const spaced = name.replaceAll(" > ", " ");
  return `^${spaced.replace(/[\\^$.*+?()[\]{}|/]/g, ".")}$`;
}

/** For a POSIX shell. */
function quoted(text: string): string {
  return `'${text.replaceAll("'", ".")}'`;
}

import { readdirSync, readFileSync } from "node:fs";
import { join, relative } from "node:path";
import { fileURLToPath } from "node:url";
import ts from "typescript";
import { describe, expect, it } from "vitest";

/**
 * Shapes of code that the program does without, found in the syntax tree: state that outlives a call in
 * core, a field that may be left out and may be null as well, a bare true or false at a call, and a
 * function that answers a value or else a word or number that says why there is none.
 */
const ROOT = fileURLToPath(new URL("../../", import.meta.url));

const sources = ["core", "controller", "ui"].flatMap((side) => read(join(ROOT, side)));

describe("shapes of code", () => {
  it("keeps no state between calls in core: what remembers is handed in and out", () => {
    const core = sources.filter(({ file }) => file.startsWith("core/"));
    expect(core.flatMap(({ file, tree }) => stateIn(tree).map((at) => `${file}:${at}`))).toEqual(
      [],
    );
  });

  it("has no field that may be left out and null at once: one way to say nothing is enough", () => {
    expect(faults(isLeftOutOrNull)).toEqual([]);
  });

  it("names what is true or false at a call: an options object or a union by kind says it", () => {
    expect(faults(hasBareBoolean)).toEqual([]);
  });

  it("answers by kind where it answers a thing or why there is none: a bare word or number may mean anything", () => {
    expect(faults((node) => answersThingOrWord(node, WORDS))).toEqual([]);
  });

  it.each([
    ["let last = 0;", 1],
    ["const known = new WeakMap<object, number>();", 1],
    ["const seen: number[] = []; export const see = (one: number) => seen.push(one);", 1],
    ["const bins = new Uint8Array(9); export const put = () => { bins[3] = 1; };", 1],
    ["const NAMES: ReadonlyMap<number, string> = new Map([[1, 'one']]);", 0],
    ["export const sum = () => { const bins = [0]; bins[0] = 1; return bins; };", 0],
  ])("finds the state in %j: %d", (text, count) => {
    expect(stateIn(treeOf("a.ts", text))).toHaveLength(count);
  });

  it.each([
    ["type A = { a?: number | null };", isLeftOutOrNull, 1],
    ["const f = (a?: string | null) => a;", isLeftOutOrNull, 1],
    ["type A = { a?: number | undefined; b: number | null };", isLeftOutOrNull, 0],
    ["write(bytes, true);", hasBareBoolean, 1],
    ["new Writer(false);", hasBareBoolean, 1],
    ["view.setUint16(0, 1, true); let a = $state(false);", hasBareBoolean, 0],
    ["write(bytes, { isLast: true });", hasBareBoolean, 0],
  ] as const)("finds the shape in %j", (text, isFault, count) => {
    expect(nodesOf(treeOf("a.ts", text)).filter(isFault)).toHaveLength(count);
  });

  it.each([
    ["type A = { a: 1 }; const f = (): A | string => 'why not';", 1],
    ["type A = { a: 1 } | { b: 1 }; async function f(): Promise<A | 'none' | null> {}", 1],
    ["class A {} interface B { f(): A | number }", 1],
    ["const f = (): readonly number[] | string => [];", 1],
    ["const f = (): number | string => 1;", 1],
    ["type A = 'a' | 'b'; const f = (): A | 'c' => 'c';", 0],
    ["type A = { kind: 'a' }; const f = (): A | null => null;", 0],
    ["const f = (): string | null => null;", 0],
    ["const f = (): Imported | string => '';", 1],
    ["const f = <T extends string>(one: T): T | 'none' => one;", 0],
  ])("finds the answer by word in %j: %d", (text, count) => {
    const tree = treeOf("a.ts", text);
    const words = new Set(wordsIn(tree));
    expect(nodesOf(tree).filter((node) => answersThingOrWord(node, words))).toHaveLength(count);
  });
});

type Source = { readonly file: string; readonly tree: ts.SourceFile };

function faults(isFault: (node: ts.Node) => boolean): readonly string[] {
  return sources.flatMap(({ file, tree }) =>
    nodesOf(tree)
      .filter(isFault)
      .map((node) => `${file}:${lineOf(tree, node)}: ${node.getText(tree).slice(0, 80)}`),
  );
}

/** What would change what is there at the top of a file, by a method's name. */
const CHANGING =
  /^(set|add|delete|clear|push|pop|shift|unshift|splice|fill|sort|reverse|copyWithin)$/;

/** Lines on which a file begins to remember something. */
function stateIn(tree: ts.SourceFile): readonly string[] {
  const names = new Map<string, number>();
  const found: string[] = [];
  for (const statement of tree.statements) {
    if (!ts.isVariableStatement(statement)) continue;
    const isFixed = (statement.declarationList.flags & ts.NodeFlags.Const) !== 0;
    for (const { name, initializer } of statement.declarationList.declarations) {
      const line = lineOf(tree, name);
      const text = initializer?.getText(tree) ?? "";
      if (!isFixed || /^new Weak/.test(text)) found.push(`${line}: ${name.getText(tree)}`);
      names.set(name.getText(tree), line);
    }
  }
  for (const node of nodesOf(tree)) {
    const changed = changedBy(node)?.getText(tree);
    const line = changed === undefined ? undefined : names.get(changed);
    if (line !== undefined) found.push(`${line}: ${changed}`);
  }
  return [...new Set(found)];
}

/** The name whose contents a piece of code changes. */
function changedBy(node: ts.Node): ts.Expression | undefined {
  if (ts.isCallExpression(node) && ts.isPropertyAccessExpression(node.expression)) {
    const { name, expression } = node.expression;
    return CHANGING.test(name.text) ? expression : undefined;
  }
  const isStep = ts.isPostfixUnaryExpression(node) || ts.isPrefixUnaryExpression(node);
  if (isStep) return containerOf(node.operand);
  const isAssignment =
    ts.isBinaryExpression(node) &&
    node.operatorToken.kind >= ts.SyntaxKind.FirstAssignment &&
    node.operatorToken.kind <= ts.SyntaxKind.LastAssignment;
  return isAssignment ? containerOf(node.left) : undefined;
}

function containerOf(place: ts.Expression): ts.Expression | undefined {
  if (ts.isNonNullExpression(place)) return containerOf(place.expression);
  return ts.isElementAccessExpression(place) || ts.isPropertyAccessExpression(place)
    ? place.expression
    : undefined;
}

function isLeftOutOrNull(node: ts.Node): boolean {
  const isOptional =
    (ts.isPropertySignature(node) || ts.isPropertyDeclaration(node) || ts.isParameter(node)) &&
    node.questionToken !== undefined;
  return isOptional && node.type !== undefined && hasNull(node.type);
}

function hasNull(type: ts.TypeNode): boolean {
  if (ts.isUnionTypeNode(type)) return type.types.some(hasNull);
  return ts.isLiteralTypeNode(type) && type.literal.kind === ts.SyntaxKind.NullKeyword;
}

/**
 * Calls of what others declared, where the bare word cannot be helped: byte order in a DataView, a
 * socket's options, an image cache, an ephemeris; and a value that is itself what is reported.
 */
const OTHERS =
  /^(\$state(\.raw)?|.*\.(get|set)(Uint|Int|BigUint|BigInt|Float)\d+|.*\.set(KeepAlive|NoDelay|State)|sharp\.cache|Equator)$/;

function hasBareBoolean(node: ts.Node): boolean {
  if (!ts.isCallExpression(node) && !ts.isNewExpression(node)) return false;
  const isBare = (node.arguments ?? []).some(
    ({ kind }) => kind === ts.SyntaxKind.TrueKeyword || kind === ts.SyntaxKind.FalseKeyword,
  );
  return isBare && !OTHERS.test(node.expression.getText().replace(/\s+/g, ""));
}

/** Types that are words or numbers by another name; every other name is a thing's. */
const WORDS = new Set(["Quantity", ...sources.flatMap(({ tree }) => wordsIn(tree))]);

function wordsIn(tree: ts.SourceFile): readonly string[] {
  return nodesOf(tree).flatMap((node) => {
    if (ts.isTypeParameterDeclaration(node)) return [node.name.text];
    return ts.isTypeAliasDeclaration(node) && !hasThing(node.type) ? [node.name.text] : [];
  });
}

/** Whether an object, a list or what another name stands for is written out in a type. */
function hasThing(type: ts.TypeNode): boolean {
  if (ts.isUnionTypeNode(type)) return type.types.some(hasThing);
  if (ts.isIntersectionTypeNode(type)) return !type.types.some(isWordOrNumber);
  // A key of something, a member of a list of words, a name in one of their tables.
  if (ts.isIndexedAccessTypeNode(type) || ts.isTemplateLiteralTypeNode(type)) return false;
  if (ts.isTypeOperatorNode(type)) return type.operator !== ts.SyntaxKind.KeyOfKeyword;
  if (ts.isTypeReferenceNode(type)) return !/^(Quantity|Exclude)$/.test(type.typeName.getText());
  return ts.isTypeLiteralNode(type) || ts.isArrayTypeNode(type) || ts.isTupleTypeNode(type);
}

function isWordOrNumber(type: ts.TypeNode): boolean {
  if (ts.isLiteralTypeNode(type)) {
    return ts.isStringLiteral(type.literal) || ts.isNumericLiteral(type.literal);
  }
  return [ts.SyntaxKind.StringKeyword, ts.SyntaxKind.NumberKeyword].includes(type.kind);
}

/** Whether a function is declared to answer a thing or a bare word or number, or one of these two. */
function answersThingOrWord(node: ts.Node, words: ReadonlySet<string>): boolean {
  if (!ts.isFunctionLike(node) || node.type === undefined) return false;
  const answer = awaited(node.type);
  if (!ts.isUnionTypeNode(answer)) return false;
  const { types } = answer;
  const kinds = new Set(types.map(({ kind }) => kind));
  const isEither = kinds.has(ts.SyntaxKind.StringKeyword) && kinds.has(ts.SyntaxKind.NumberKeyword);
  const isThing = (type: ts.TypeNode): boolean =>
    hasThing(type) && !(ts.isTypeReferenceNode(type) && words.has(type.typeName.getText()));
  return isEither || (types.some(isThing) && types.some(isWordOrNumber));
}

function awaited(type: ts.TypeNode): ts.TypeNode {
  const isPromise = ts.isTypeReferenceNode(type) && type.typeName.getText() === "Promise";
  return isPromise ? (type.typeArguments?.[0] ?? type) : type;
}

function nodesOf(tree: ts.SourceFile): ts.Node[] {
  const nodes: ts.Node[] = [];
  const visit = (node: ts.Node): void => {
    nodes.push(node);
    ts.forEachChild(node, visit);
  };
  visit(tree);
  return nodes;
}

function lineOf(tree: ts.SourceFile, node: ts.Node): number {
  return tree.getLineAndCharacterOfPosition(node.getStart(tree)).line + 1;
}

function treeOf(file: string, text: string): ts.SourceFile {
  return ts.createSourceFile(file, text, ts.ScriptTarget.Latest, true, ts.ScriptKind.TS);
}

function read(folder: string): Source[] {
  return readdirSync(folder, { withFileTypes: true }).flatMap((entry) => {
    const path = join(folder, entry.name);
    if (entry.isDirectory()) return entry.name === "dist" ? [] : read(path);
    if (!/\.(ts|svelte)$/.test(entry.name)) return [];
    const file = relative(ROOT, path);
    return [{ file, tree: treeOf(file, scriptOf(entry.name, readFileSync(path, "utf8"))) }];
  });
}

/** A component's script, on the lines that it has in its file. */
function scriptOf(name: string, text: string): string {
  if (!name.endsWith(".svelte")) return text;
  const [, before = "", script = ""] =
    /^([\s\S]*?<script[^>]*>)([\s\S]*?)<\/script>/.exec(text) ?? [];
  return before.replace(/[^\n]/g, "") + script;
}

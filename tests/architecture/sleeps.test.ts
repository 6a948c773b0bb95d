import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import ts from "typescript";
import { describe, expect, it } from "vitest";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));

/** Emulates hardware, whose times are what it is about; in `usb-vm` a kernel stands between. */
const HARDWARE =
  /^tests\/(usb-vm\/.*|bodies\/(responder|camera)\.ts|support\/(slowLink|bodyOnContact)\.ts)$/;

const files = execFileSync("git", ["ls-files", "tests"], { cwd: ROOT, encoding: "utf8" })
  .split("\n")
  .filter((file) => file.endsWith(".ts") && !HARDWARE.test(file));

/**
 * A test that sleeps for a fixed time hopes that something is over by then, which is wrong on one
 * machine and slow on all others. In a loop that asks for what it waits for, a pause is no such hope.
 */
describe("a test", () => {
  it("waits for what it is informed of, never for a fixed time", () => {
    const found = files.flatMap((file) =>
      sleepsIn(readFileSync(join(ROOT, file), "utf8")).map(
        (line) =>
          `${file}:${line} sleeps: wait for an event, or ask again in a loop or expect.poll`,
      ),
    );
    expect(found).toEqual([]);
  });

  it.each([
    ["await new Promise((resolve) => setTimeout(resolve, 300));", 1],
    ["const later = async () => { await new Promise((done) => { setTimeout(done, ms); }); };", 1],
    ['import { setTimeout as rest } from "node:timers/promises";\nawait rest(20);', 1],
    [
      "const rest = (ms: number) => new Promise((done) => setTimeout(done, ms));\nawait rest(9);",
      1,
    ],
    ["while (!isDone()) await new Promise((resolve) => setTimeout(resolve, 5));", 0],
    ["for (;;) { if (isDone()) break; await new Promise((done) => setTimeout(done, 5)); }", 0],
    ["await Promise.race([ended, new Promise((done) => setTimeout(done, 5))]);", 0],
    ["await new Promise((done) => { camera.onEvent(done); setTimeout(done, 5); });", 0],
  ])("has a fixed sleep in %j: %d", (text, count) => {
    expect(sleepsIn(text)).toHaveLength(count);
  });
});

/** The lines on which something sleeps for a fixed time. */
function sleepsIn(text: string): readonly number[] {
  if (!text.includes("setTimeout")) return [];
  const tree = ts.createSourceFile("a.ts", text, ts.ScriptTarget.Latest, true, ts.ScriptKind.TS);
  const names = new Set<string>();
  const lines: number[] = [];
  const visit = (node: ts.Node): void => {
    const name = nameOfSleep(node);
    if (name !== null) names.add(name);
    ts.forEachChild(node, visit);
  };
  const look = (node: ts.Node, isInLoop: boolean): void => {
    if (ts.isAwaitExpression(node) && !isInLoop && isSleep(node.expression, names)) {
      lines.push(tree.getLineAndCharacterOfPosition(node.getStart(tree)).line + 1);
    }
    const isLoop = ts.isIterationStatement(node, false) && !ts.isForOfStatement(node);
    ts.forEachChild(node, (child) => look(child, (isInLoop && !ts.isFunctionLike(node)) || isLoop));
  };
  visit(tree);
  look(tree, false);
  return lines;
}

/** What a file calls the sleep that it imports or makes. */
function nameOfSleep(node: ts.Node): string | null {
  if (ts.isImportSpecifier(node)) {
    const { moduleSpecifier } = node.parent.parent.parent as ts.ImportDeclaration;
    const isTimers = moduleSpecifier.getText().includes("timers/promises");
    return isTimers && (node.propertyName ?? node.name).text === "setTimeout"
      ? node.name.text
      : null;
  }
  if (ts.isFunctionDeclaration(node)) {
    const [only, ...more] = node.body?.statements ?? [];
    const returned =
      only && ts.isReturnStatement(only) && more.length === 0 ? only.expression : undefined;
    return returned !== undefined && isSleepingPromise(returned) ? (node.name?.text ?? null) : null;
  }
  if (!ts.isVariableDeclaration(node) || node.initializer === undefined) return null;
  const { initializer } = node;
  const isSleeper = ts.isArrowFunction(initializer) && isSleepingPromise(initializer.body);
  return isSleeper ? node.name.getText() : null;
}

function isSleep(expression: ts.Expression, names: ReadonlySet<string>): boolean {
  if (isSleepingPromise(expression)) return true;
  return ts.isCallExpression(expression) && names.has(expression.expression.getText());
}

/** `new Promise((resolve) => setTimeout(resolve, …))`, with or without braces. */
function isSleepingPromise(node: ts.Node): boolean {
  if (!ts.isNewExpression(node) || node.expression.getText() !== "Promise") return false;
  const [executor] = node.arguments ?? [];
  if (executor === undefined || !ts.isArrowFunction(executor)) return false;
  const { body, parameters } = executor;
  const [statement, ...more] = ts.isBlock(body) ? body.statements : [body];
  if (statement === undefined || more.length > 0) return false;
  const call = ts.isExpressionStatement(statement) ? statement.expression : statement;
  if (!ts.isCallExpression(call) || call.expression.getText() !== "setTimeout") return false;
  return call.arguments[0]?.getText() === parameters[0]?.name.getText();
}
